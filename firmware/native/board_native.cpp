// board.h's functions on the current board.

#include "board_native.h"

#include <string.h>

#include "../rig_controller/board_avr_pins.h"
#include "../rig_controller/line.h"
#include "../rig_controller/memory.h"

namespace {

thread_local NativeBoard* current = nullptr;

constexpr int eeprom_bytes_per_pass = 7;  // 25 ms at 3.4 ms a byte

void put_on_select_lines(uint8_t number) {
  current->bus.select(number, current->signals.bus, current->drive);
}

}  // namespace

// The checksum's place is at the end here, whose bytes the controller leaves out.
NativeBoard::NativeBoard() {
  memset(eeprom, 0xFF, sizeof eeprom);
  built.bytes = sizeof program;
  built.crc_at = sizeof program - 2;
  for (size_t i = 0; i < sizeof program; ++i) program[i] = uint8_t(i * i + 7 * i);
  for (uint16_t i = 0; i < built.crc_at; ++i) built.crc = crc_update(built.crc, program[i]);
}

void NativeBoard::make_current() { current = this; }

void NativeBoard::provision(uint32_t number) {
  uint32_t serial_number = 0;
  Memory memory;
  memory.load(Item::serial, &serial_number);
  serial_number = number;
  memory.store(Item::serial);
  while (memory.busy()) {
    pass_time();
    memory.poll();
  }
}

void NativeBoard::pass_time() { eeprom_budget = eeprom_bytes_per_pass; }

void NativeBoard::receive(const char* bytes, size_t count) {
  if (received_at == received.size()) {
    received.clear();
    received_at = 0;
  }
  received.append(bytes, count);
}

namespace board {

void select(Chip chip) { put_on_select_lines(uint8_t(chip)); }

void release() { put_on_select_lines(board::no_chip); }

uint8_t transfer(uint8_t out) { return current->bus.transfer(out, current->signals); }

uint8_t inputs() {
  const plant::Signals& s = current->signals;
  return uint8_t((s.level_ok ? uint8_t(wire::Input::level_ok) : 0) |
                 (s.stirrer_turning ? uint8_t(wire::Input::stirrer_turning) : 0) |
                 (s.emergency_stop_closed ? uint8_t(wire::Input::emergency_stop_closed) : 0) |
                 (s.heater_live ? uint8_t(wire::Input::heater_live) : 0) |
                 (s.contactor_open ? uint8_t(wire::Input::contactor_open) : 0));
}

void drive(uint8_t outputs) {
  plant::Drive& d = current->drive;
  d.contactor = outputs & uint8_t(wire::Output::contactor);
  d.heater = outputs & uint8_t(wire::Output::heater);
  d.element_feed = outputs & uint8_t(wire::Output::element_feed);
  d.stirrer = outputs & uint8_t(wire::Output::stirrer);
  d.cooling = outputs & uint8_t(wire::Output::cooling);
  d.horn = outputs & uint8_t(wire::Output::horn);
}

void switch_stations(uint8_t closed) {
  for (int s = 0; s < plant::kStations; ++s) current->drive.station_switch[s] = closed >> s & 1;
}

int16_t serial_read() {
  NativeBoard& b = *current;
  return b.received_at < b.received.size() ? uint8_t(b.received[b.received_at++]) : -1;
}

bool serial_write(uint8_t byte) {
  current->sent.push_back(char(byte));
  return true;
}

uint8_t eeprom_read(uint16_t address) { return current->eeprom[address]; }

bool eeprom_ready() { return current->eeprom_budget > 0; }

void eeprom_update(uint16_t address, uint8_t byte) {
  if (current->eeprom[address] == byte) return;
  current->eeprom[address] = byte;
  --current->eeprom_budget;
}

Program program() { return current->built; }

uint8_t program_byte(uint16_t address) { return current->program[address]; }

uint8_t* stack_guard() { return current->stack_guard; }

uint16_t watchdog_us() { return current->watchdog_us; }

void feed_watchdog() { ++current->watchdog_fed; }

void idle() { current->pass_time(); }

}  // namespace board

