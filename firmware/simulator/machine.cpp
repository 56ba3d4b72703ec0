#include "machine.h"

#include <algorithm>
#include <utility>

#include "../native/board_native.h"

namespace simulator {
namespace {

constexpr uint64_t ms = 1000 * cycles_per_us;
constexpr uint64_t first_step = 20 * ms, step = 25 * ms;
constexpr uint64_t longest_test = 1000 * ms;  // of the controller by itself, before it begins
constexpr double step_s = 0.025;
constexpr uint64_t byte_time = cycles_per_us * 10000000 / 115200;  // ten bits at 115200 baud
constexpr uint8_t power_on = 1, brown_out = 4;
const std::string output_prefix = "output.";
constexpr char station_switch[] = "station_switch.";

constexpr size_t most_changes = 100000;

struct Output {
  const char* name;
  board::Pin board::PinMap::*pin;
  bool plant::Drive::*drive;
};
constexpr Output outputs[] = {
    {"contactor", &board::PinMap::contactor, &plant::Drive::contactor},
    {"heater", &board::PinMap::heater, &plant::Drive::heater},
    {"element_feed", &board::PinMap::element_feed, &plant::Drive::element_feed},
    {"stirrer", &board::PinMap::stirrer, &plant::Drive::stirrer},
    {"cooling", &board::PinMap::cooling, &plant::Drive::cooling},
    {"horn", &board::PinMap::horn, &plant::Drive::horn}};

struct Input {
  board::Pin board::PinMap::*pin;
  bool plant::Signals::*closed;
};
constexpr Input inputs[] = {
    {&board::PinMap::level_ok, &plant::Signals::level_ok},
    {&board::PinMap::stirrer_turning, &plant::Signals::stirrer_turning},
    {&board::PinMap::emergency_stop_closed, &plant::Signals::emergency_stop_closed},
    {&board::PinMap::heater_live, &plant::Signals::heater_live},
    {&board::PinMap::contactor_open, &plant::Signals::contactor_open}};

// EEPROM of a controller as it leaves the workshop that built it.
std::vector<uint8_t> provisioned_eeprom(uint64_t seed) {
  NativeBoard native;
  native.make_current();
  native.provision(uint32_t(seed));
  return {native.eeprom, native.eeprom + sizeof native.eeprom};
}

}  // namespace

Machine::Machine(const std::string& elf_path, uint64_t seed)
    : plant_(seed), cpu_(elf_path, *this) {
  cpu_.write_eeprom(provisioned_eeprom(seed));
  boot(power_on);
  begun_ = cpu_.now();
  resets_ = 0;
}

void Machine::boot(uint8_t flags) {
  if (flags & (power_on | brown_out)) {
    bus_ = devices::Bus();
    std::fill(std::begin(drive_.element_code), std::end(drive_.element_code), uint16_t(0));
  }
  cpu_.reset(flags);
  const uint64_t latest = cpu_.now() + longest_test;
  while (testing_itself_ && cpu_.now() < latest) cpu_.run_until(cpu_.now() + ms / 10);
  target_ = cpu_.now();
}

void Machine::was_reset() {
  ++resets_;
  bus_held_ = false;
  testing_itself_ = true;
  cpu_.watchdog_rate(watchdog_rate_);
  plant_due_ = cpu_.now() + longest_test;
  outputs_changed();
  select_changed();
  drive_inputs();
}

// Counts from the last target, so that the processor's overshoot of a few cycles does not add up.
void Machine::advance_us(uint64_t us) {
  target_ += us * cycles_per_us;
  while (cpu_.now() < target_) {
    cpu_.run_until(next_event());
    const uint64_t now = cpu_.now();
    if (now >= plant_due_) step_plant();
    if (now >= spike_ends_) end_spike();
    if (bus_held_ && now >= bus_free_) cpu_.hold_bus(bus_held_ = false);
    if (!unreceived_.empty() && now >= byte_due_) feed_byte();
  }
}

uint64_t Machine::next_event() const {
  uint64_t next = std::min({target_, plant_due_, spike_ends_});
  if (bus_held_) next = std::min(next, bus_free_);
  if (!unreceived_.empty()) next = std::min(next, byte_due_);
  return next;
}

void Machine::step_plant() {
  plant_due_ += step;
  plant_.advance(step_s, drive_);
  drive_inputs();
}

void Machine::drive_inputs() {
  const plant::Signals& signals = plant_.signals();
  for (const Input& input : inputs) {
    const bool closed = signals.*input.closed;
    cpu_.drive_pin(cpu_.pins().*input.pin, !closed);
  }
  stop_line_closed_ = signals.emergency_stop_closed;
  const double spike_s = signals.stop_spike_s;
  spike_ends_ = spike_s > 0 ? cpu_.now() + uint64_t(spike_s * 1e6) * cycles_per_us : never;
}

// What is left of a spike on the stop's line, unless the next step comes first.
void Machine::end_spike() {
  spike_ends_ = never;
  stop_line_closed_ = true;
  cpu_.drive_pin(cpu_.pins().emergency_stop_closed, false);
}

void Machine::outputs_changed() {
  const board::PinMap& pins = cpu_.pins();
  for (const Output& output : outputs)
    follow(drive_.*output.drive, pins.*output.pin, output.name, 0);
  for (int s = 0; s < pins.stations; ++s)
    follow(drive_.station_switch[s], pins.station_switch[s], station_switch, s + 1);
}

// Takes over the level of an output, which a pull-down keeps off, and remembers a change.
void Machine::follow(bool& known, board::Pin pin, const char* name, int station) {
  const bool on = cpu_.level(pin, false);
  if (std::exchange(known, on) == on) return;
  changes_.push_back({now_us(), name + (station ? std::to_string(station) : std::string()), on});
  if (changes_.size() > most_changes) changes_.pop_front();
}

void Machine::select_changed() {
  uint8_t number = 0;
  for (int line = 0; line < 3; ++line)
    number |= uint8_t(cpu_.level(cpu_.pins().select[line], true) << line);
  if (number == chip_) return;
  chip_ = number;
  bus_.select(chip_, plant_.signals().bus, drive_);
  if (chip_ >= board::chips) return;
  if (!std::exchange(testing_itself_, false)) return;
  cpu_.watchdog_rate(1.0);
  cpu_.take_pass_times();
  plant_due_ = cpu_.now() + first_step;
}

uint8_t Machine::bus_transfer(uint8_t byte) { return bus_.transfer(byte, plant_.signals()); }

void Machine::receive(const char* bytes, size_t count) {
  unreceived_.insert(unreceived_.end(), bytes, bytes + count);
}

void Machine::feed_byte() {
  byte_due_ = cpu_.now() + byte_time;
  if (!cpu_.receiver_ready() && !ignore_xoff_) return;
  cpu_.receive(unreceived_.front());
  unreceived_.pop_front();
}

void Machine::sent(uint8_t byte) { sent_.push_back(char(byte)); }

std::string Machine::take_sent() { return std::exchange(sent_, {}); }

void Machine::hold_bus_us(uint64_t us) {
  bus_free_ = cpu_.now() + us * cycles_per_us;
  cpu_.hold_bus(bus_held_ = true);
}

bool Machine::get(const std::string& key, double* value) const {
  for (const Output& output : outputs)
    if (key == output_prefix + output.name) return *value = drive_.*output.drive, true;
  for (int s = 0; s < plant::kStations; ++s) {
    const std::string station = std::to_string(s + 1);
    if (key == output_prefix + station_switch + station)
      return *value = drive_.station_switch[s], true;
    if (key == output_prefix + "element_code." + station)
      return *value = drive_.element_code[s], true;
  }
  if (key == "input.emergency_stop_closed") return *value = stop_line_closed_, true;
  if (key == "resets") return *value = resets_, true;
  if (key == "stack_unused") return *value = cpu_.stack_unused(), true;
  return plant_.get(key.c_str(), value);
}

std::deque<Change> Machine::take_changes() { return std::exchange(changes_, {}); }

}  // namespace simulator
