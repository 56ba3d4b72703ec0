// board.h on the AVR boards: what the processor tells of itself, for the self-tests.

#ifdef __AVR__

#include <Arduino.h>
#include <avr/pgmspace.h>
#include <avr/wdt.h>

#include "board.h"

// Where the linker ends the variables: nothing is allocated here, so the stack's room begins.
extern uint8_t __heap_start;

namespace board {
namespace {

// Filled in the finished ELF by stamp_program.py, which finds it by its name. As it stands here, no
// program passes: the checksum of no bytes is 0.
struct Stamp {
  char name[8];
  uint16_t bytes, crc;
};
const Stamp stamp PROGMEM = {{'p', 'r', 'o', 'g', 'r', 'a', 'm', '='}, 0, 0xFFFF};

volatile bool watchdog_barked;

}  // namespace

Program program() {
  const uint8_t* crc = reinterpret_cast<const uint8_t*>(&stamp.crc);
  return {pgm_read_word(&stamp.bytes), reinterpret_cast<uint16_t>(crc),
          pgm_read_word(&stamp.crc)};
}

uint8_t program_byte(uint16_t address) { return pgm_read_byte(address); }

char program_char(const char* at) { return static_cast<char>(pgm_read_byte(at)); }

uint8_t* stack_guard() { return &__heap_start; }

// Its shortest period, by interrupt instead of reset.
uint16_t watchdog_us() {
  watchdog_barked = false;
  cli();
  wdt_reset();
  WDTCSR = _BV(WDCE) | _BV(WDE);
  WDTCSR = _BV(WDIE);
  sei();
  const uint32_t begin_us = micros();
  uint32_t us = 0;
  while (!watchdog_barked && us < 4UL * watchdog_nominal_us) us = micros() - begin_us;
  cli();
  wdt_disable();
  sei();
  return watchdog_barked ? static_cast<uint16_t>(us) : 0;
}

}  // namespace board

ISR(WDT_vect) { board::watchdog_barked = true; }

#endif
