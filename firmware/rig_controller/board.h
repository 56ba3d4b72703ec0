// The controller's only way to its hardware.
// Each target implements these functions once (board_avr.cpp, native/board_native.cpp).

#pragma once
#include <stdint.h>

#include "wire.h"

namespace board {

#if defined(__AVR_ATmega2560__)
constexpr wire::Board kind = wire::Board::atmega2560;
constexpr uint8_t stations = 6;
#elif defined(__AVR_ATmega328P__)
constexpr wire::Board kind = wire::Board::atmega328p;
constexpr uint8_t stations = 2;
#else
constexpr wire::Board kind = wire::Board::native;
constexpr uint8_t stations = 6;
#endif
// Received bytes that a pass of the loop may take: a demand whole, and no flood makes it long. At the
// line's rate 12 come in the millisecond of a pass, 130 while a scan lasts; a native pass is 25 ms.
constexpr uint16_t bytes_a_pass = kind == wire::Board::native ? 25 * 80 : 80;
static_assert(stations <= wire::stations, "the wire carries no more stations");

// Reference resistors of the RTD converters, which turn every sum of a probe into ohm.
#ifndef REFERENCE_OHM
#define REFERENCE_OHM 400
#endif
constexpr uint16_t reference_ohm = REFERENCE_OHM;

// Parts on the SPI bus, each with its own select line.
enum class Chip : uint8_t {
  bath_rtd,     // RTD converter, SPI mode 1
  guard_rtd,    // RTD converter, SPI mode 1
  lift_adc,     // 8-channel ADC, SPI mode 0; channel = station, 7 = its reference
  current_adc,  // as lift_adc
  voltage_adc,  // as lift_adc
  element_dac   // octal DAC, SPI mode 1; channel = station
};
constexpr uint8_t chips = 6;

// Each ADC's last channel carries a share of its full scale of its own, by which one is known from
// the others: 1/2, 1/3, 2/3. It is made without the ADC's own reference: from a second one, and at
// the gauges, which are ratiometric, by two equal resistors.
constexpr uint8_t adcs = 3;
constexpr uint8_t reference_channel = 7;
constexpr uint16_t reference_code[adcs] = {2048, 1365, 2730};

// Pins safe (everything off), bus and serial port running.
void start();

// What was tested at boot lies behind: the clock counts from zero, the watchdog runs.
void begin();

// What reset the processor; UNKNOWN when the flags do not say.
wire::BootCause boot_cause();

// Milliseconds since begin(); wraps.
uint32_t now_ms();

// Begins and ends one SPI frame; the mode is the chip's.
void select(Chip chip);
void release();

// Exchanges one byte with the selected chip; sleeps until the bus interrupt.
uint8_t transfer(uint8_t out);

// wire::Input bits as they stand now.
uint8_t inputs();

// Drives wire::Output bits; each bit set is that output on. One that the board has no pin for is
// driven nowhere.
void drive(uint8_t outputs);

// Closes the station switches whose bit is set (bit 0 = station 1), opens the others.
void switch_stations(uint8_t closed);

// Received byte, or -1 when none waits.
int16_t serial_read();

// Queues a byte to send; false when the queue is full. Never waits.
bool serial_write(uint8_t byte);

uint8_t eeprom_read(uint16_t address);

// False while a byte is being burnt (3.4 ms).
bool eeprom_ready();

// Starts to burn a byte unless it already stands there; only when ready. Never waits.
void eeprom_update(uint16_t address, uint8_t byte);

// Text that stays in program memory, where it takes no room of the variables.
#ifdef __AVR__
#define IN_PROGRAM_MEMORY __attribute__((__progmem__))
char program_char(const char* at);
#else
#define IN_PROGRAM_MEMORY
inline char program_char(const char* at) { return *at; }
#endif

// The program as it was built: `bytes` of memory from address 0 on, whose CRC-16/XMODEM is `crc`,
// the two bytes at `crc_at`, which hold it, left out.
struct Program {
  uint16_t bytes, crc_at, crc;
};
Program program();
uint8_t program_byte(uint16_t address);

// The memory that a stack which outgrows its room overwrites first.
constexpr uint8_t stack_guard_bytes = 32;
uint8_t* stack_guard();

// How long the timer finds what lasts so long by the watchdog's own oscillator; 0 when that does
// not end. The watchdog guards nothing meanwhile.
constexpr uint16_t watchdog_nominal_us = 16000;
uint16_t watchdog_us();

// Restarts the watchdog's second; called once per tick whose duties were all done.
void feed_watchdog();

// Sleeps until the clock's next millisecond; the end of each loop pass.
void idle();

}  // namespace board
