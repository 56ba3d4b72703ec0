// Compares what the board tells of itself with what was built.

#include "self_test.h"

#include "board.h"
#include "line.h"

namespace {

// By data sheets the watchdog's oscillator strays some 10 % with supply and temperature.
constexpr uint16_t clock_tolerance_us = board::watchdog_nominal_us / 5;

uint16_t program_crc(const board::Program& program) {
  uint16_t crc = 0;
  for (uint16_t at = 0; at < program.bytes; ++at)
    if (at != program.crc_at && at != program.crc_at + 1)
      crc = crc_update(crc, board::program_byte(at));
  return crc;
}

// No constant run, so that neither zeros nor a repeated byte of a frame pass.
uint8_t mark(uint8_t at) {
  return uint8_t(at * 37 + 0xA5);
}

}  // namespace

Cause boot_test() {
  const board::Program program = board::program();
  const uint16_t crc = program_crc(program);
  if (crc != program.crc) return {wire::TripReason::program_memory, crc, program.crc};

  const uint16_t us = board::watchdog_us();
  const uint16_t low = board::watchdog_nominal_us - clock_tolerance_us;
  const uint16_t high = board::watchdog_nominal_us + clock_tolerance_us;
  if (us < low) return {wire::TripReason::clocks_disagree, us, low};
  if (us > high) return {wire::TripReason::clocks_disagree, us, high};
  return Cause();
}

void stack_guard_paint() {
  volatile uint8_t* guard = board::stack_guard();
  for (uint8_t i = 0; i < board::stack_guard_bytes; ++i) guard[i] = mark(i);
}

uint8_t stack_guard_spoiled() {
  const volatile uint8_t* guard = board::stack_guard();
  uint8_t spoiled = 0;
  for (uint8_t i = 0; i < board::stack_guard_bytes; ++i) spoiled += guard[i] != mark(i);
  return spoiled;
}
