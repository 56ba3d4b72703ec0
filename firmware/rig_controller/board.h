// The controller's only way to its hardware, and the ceilings that no host may pass.
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
static_assert(stations <= wire::stations, "the wire carries no more stations");

// Greatest limits a host may ask for; the host can only tighten. Probe sums are four 15-bit
// codes of a Pt100 (IEC 60751) against 400 ohm: sum = R / 400 * 131072, near 126 counts a kelvin.
namespace ceiling {
constexpr uint32_t probe_sum = 48481;     // 125 degC: above the boil of any glycol mix
constexpr uint16_t disagree_sum = 630;    // 5 K
constexpr uint16_t climb_sum = 420;       // 20 K/min over 10 s: 3.3 K
constexpr uint16_t heater_on_s = 50400;   // 14 h: longer than any night
constexpr uint16_t element_code = 3000;   // 1.5 A
constexpr uint16_t element_on_s = 14400;  // 4 h unbroken: a power ramp of 0.05 W/min to 12 W
}  // namespace ceiling

// Parts on the SPI bus, each with its own select line.
enum class Chip : uint8_t {
  bath_rtd,     // RTD converter, SPI mode 1
  guard_rtd,    // RTD converter, SPI mode 1
  lift_adc,     // 8-channel ADC, SPI mode 0; channel = station
  current_adc,  // as lift_adc
  voltage_adc,  // as lift_adc
  element_dac   // octal DAC, SPI mode 1; channel = station
};
constexpr uint8_t chips = 6;

// Pins safe (everything off), bus, serial port, clock and watchdog running.
void start();

// What reset the processor; UNKNOWN when the flags do not say.
wire::BootCause boot_cause();

// Milliseconds since boot; wraps.
uint32_t now_ms();

// Begins and ends one SPI frame; the mode is the chip's.
void select(Chip chip);
void release();

// Exchanges one byte with the selected chip; sleeps until the bus interrupt.
uint8_t transfer(uint8_t out);

// wire::Input bits as they stand now.
uint8_t inputs();

// Drives wire::Output bits; each bit set is that output on.
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

// Restarts the watchdog's second; called once per completed tick.
void feed_watchdog();

// Sleeps until the next interrupt; the end of each loop pass.
void idle();

}  // namespace board
