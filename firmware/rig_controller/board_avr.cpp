// board.h on the ATmega2560 and the ATmega328P: pins, SPI, serial port, EEPROM, watchdog.

#ifdef __AVR__

#include "board.h"

#include <Arduino.h>
#include <avr/eeprom.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

#include "board_avr_pins.h"

static_assert(SERIAL_RX_BUFFER_SIZE >= 128, "64 bytes are 5.5 ms of line, less than a scan");

namespace board {
namespace {

#if defined(__AVR_ATmega2560__)
constexpr PinMap pins = atmega2560_pins;
#else
constexpr PinMap pins = atmega328p_pins;
#endif
static_assert(pins.stations == stations, "the pin table serves the board's stations");
static_assert(pins.select[1].port == pins.select[0].port &&
                  pins.select[2].port == pins.select[0].port,
              "the select lines change in one write");
static_assert(pins.select[1].bit == pins.select[0].bit + 1 &&
                  pins.select[2].bit == pins.select[0].bit + 2,
              "the select lines stand side by side");

constexpr uint32_t baud = 115200;

// A port's three registers stand in the order PIN, DDR, PORT.
struct Port {
  uint8_t in, direction, out;
};

// Folds to a constant address: every caller passes a pin of the table.
inline __attribute__((always_inline)) volatile Port& port_of(Pin pin) {
  switch (pin.port) {
    case 'B': return *reinterpret_cast<volatile Port*>(&PINB);
    case 'C': return *reinterpret_cast<volatile Port*>(&PINC);
    case 'D': return *reinterpret_cast<volatile Port*>(&PIND);
#if defined(__AVR_ATmega2560__)
    case 'A': return *reinterpret_cast<volatile Port*>(&PINA);
    case 'F': return *reinterpret_cast<volatile Port*>(&PINF);
    case 'L': return *reinterpret_cast<volatile Port*>(&PINL);
#endif
    default: __builtin_unreachable();
  }
}

inline __attribute__((always_inline)) void set(Pin pin, bool high) {
  if (!pin.port) return;
  volatile Port& port = port_of(pin);
  const uint8_t mask = static_cast<uint8_t>(1 << pin.bit);
  port.out = static_cast<uint8_t>(high ? port.out | mask : port.out & ~mask);
}

inline __attribute__((always_inline)) void make_output(Pin pin) {
  if (!pin.port) return;
  volatile Port& port = port_of(pin);
  port.direction = static_cast<uint8_t>(port.direction | 1 << pin.bit);
}

inline __attribute__((always_inline)) bool contact_closed(Pin pin) {
  return !(port_of(pin).in & 1 << pin.bit);
}

inline __attribute__((always_inline)) void select_number(uint8_t number) {
  constexpr uint8_t shift = pins.select[0].bit;
  volatile Port& port = port_of(pins.select[0]);
  port.out = static_cast<uint8_t>((port.out & ~(7 << shift)) | number << shift);
}

inline __attribute__((always_inline)) void outputs_off() {
  set(pins.contactor, false);
  set(pins.heater, false);
  set(pins.element_feed, false);
  set(pins.stirrer, false);
  set(pins.cooling, false);
  set(pins.horn, false);
  make_output(pins.contactor);
  make_output(pins.heater);
  make_output(pins.element_feed);
  make_output(pins.stirrer);
  make_output(pins.cooling);
  make_output(pins.horn);
}

template <uint8_t station>
inline __attribute__((always_inline)) void switch_from(uint8_t closed) {
  set(pins.station_switch[station], closed & 1 << station);
  make_output(pins.station_switch[station]);
  switch_from<station + 1>(closed);
}
template <>
inline __attribute__((always_inline)) void switch_from<stations>(uint8_t) {}

// Reset flags as the processor left them; outlives the clearing of memory.
uint8_t reset_flags __attribute__((section(".noinit")));

// Runs before memory is set up: after a watchdog reset the watchdog is still on, at 16 ms.
void first_act() __attribute__((naked, used, section(".init3")));
void first_act() {
  outputs_off();
  switch_from<0>(0);
  reset_flags = MCUSR;
  MCUSR = 0;
  wdt_disable();
}

uint32_t begun_ms;

// The core's init() leaves every timer running as a PWM; only timer 0 (milliseconds) is used.
void stop_unused_timers() {
  TCCR1B = 0;
  TCCR1A = 0;
  TCCR2B = 0;
  TCCR2A = 0;
#if defined(__AVR_ATmega2560__)
  TCCR3B = 0;
  TCCR3A = 0;
  TCCR4B = 0;
  TCCR4A = 0;
  TCCR5B = 0;
  TCCR5A = 0;
#endif
  ADCSRA = 0;
}

void start_inputs() {
  set(pins.level_ok, true);
  set(pins.stirrer_turning, true);
  set(pins.emergency_stop_closed, true);
  set(pins.heater_live, true);
  set(pins.contactor_open, true);
}

void start_bus() {
  select_number(no_chip);
  make_output(pins.select[0]);
  make_output(pins.select[1]);
  make_output(pins.select[2]);
  make_output(pins.bus_select);
  make_output(pins.clock);
  make_output(pins.data_out);
  SPSR = 0;
}

// 1 MHz (clock / 16): within every chip's reach at 5 V.
constexpr uint8_t spi_control = _BV(SPE) | _BV(SPIE) | _BV(MSTR) | _BV(SPR0);

volatile uint8_t received;
volatile bool transferred;

// Interrupts are off from a look that finds nothing until the processor sleeps (sei takes effect
// after the next instruction), so that none slips in between and is slept over.
template <class Ready>
void sleep_until(Ready ready) {
  for (;;) {
    cli();
    if (ready()) break;
    sleep_enable();
    sei();
    sleep_cpu();
    sleep_disable();
  }
  sei();
}

uint8_t bit_if(bool set, wire::Input input) { return set ? static_cast<uint8_t>(input) : 0; }

bool asks(uint8_t outputs, wire::Output output) { return outputs & static_cast<uint8_t>(output); }

}  // namespace

void start() {
  stop_unused_timers();
  start_inputs();
  start_bus();
  set_sleep_mode(SLEEP_MODE_IDLE);
  Serial.begin(baud);
}

void begin() {
  begun_ms = millis();
  wdt_enable(WDTO_1S);
}

wire::BootCause boot_cause() {
  if (reset_flags & _BV(PORF)) return wire::BootCause::power_on;
  if (reset_flags & _BV(BORF)) return wire::BootCause::brown_out;
  if (reset_flags & _BV(WDRF)) return wire::BootCause::watchdog;
  return reset_flags == _BV(EXTRF) ? wire::BootCause::external : wire::BootCause::unknown;
}

uint32_t now_ms() { return millis() - begun_ms; }

void select(Chip chip) {
  const bool is_adc =
      chip == Chip::lift_adc || chip == Chip::current_adc || chip == Chip::voltage_adc;
  SPCR = is_adc ? spi_control : spi_control | _BV(CPHA);
  select_number(static_cast<uint8_t>(chip));
}

void release() { select_number(no_chip); }

uint8_t transfer(uint8_t out) {
  transferred = false;
  SPDR = out;
  sleep_until([] { return transferred; });
  return received;
}

uint8_t inputs() {
  return static_cast<uint8_t>(
      bit_if(contact_closed(pins.level_ok), wire::Input::level_ok) |
      bit_if(contact_closed(pins.stirrer_turning), wire::Input::stirrer_turning) |
      bit_if(contact_closed(pins.emergency_stop_closed), wire::Input::emergency_stop_closed) |
      bit_if(contact_closed(pins.heater_live), wire::Input::heater_live) |
      bit_if(contact_closed(pins.contactor_open), wire::Input::contactor_open));
}

void drive(uint8_t outputs) {
  set(pins.contactor, asks(outputs, wire::Output::contactor));
  set(pins.heater, asks(outputs, wire::Output::heater));
  set(pins.element_feed, asks(outputs, wire::Output::element_feed));
  set(pins.stirrer, asks(outputs, wire::Output::stirrer));
  set(pins.cooling, asks(outputs, wire::Output::cooling));
  set(pins.horn, asks(outputs, wire::Output::horn));
}

void switch_stations(uint8_t closed) { switch_from<0>(closed); }

int16_t serial_read() { return static_cast<int16_t>(Serial.read()); }

bool serial_write(uint8_t byte) {
  if (Serial.availableForWrite() == 0) return false;
  Serial.write(byte);
  return true;
}

uint8_t eeprom_read(uint16_t address) {
  return eeprom_read_byte(reinterpret_cast<const uint8_t*>(address));
}

bool eeprom_ready() { return eeprom_is_ready(); }

void eeprom_update(uint16_t address, uint8_t byte) {
  if (eeprom_read(address) == byte) return;
  eeprom_write_byte(reinterpret_cast<uint8_t*>(address), byte);
}

void feed_watchdog() { wdt_reset(); }

// Wakes for good once a millisecond: the serial port's interrupts need no pass of the loop, as its
// buffers last 5 ms (sending) and 22 ms (receiving).
void idle() {
  const uint32_t before_ms = millis();
  sleep_until([before_ms] { return millis() != before_ms; });
}

}  // namespace board

ISR(SPI_STC_vect) {
  board::received = SPDR;
  board::transferred = true;
}

#endif
