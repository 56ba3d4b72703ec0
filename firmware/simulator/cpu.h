// One simulated AVR running a firmware: clock, pins, SPI bus, serial port, EEPROM, resets.
// The only part that knows libsimavr. Time is in processor cycles and goes on over resets.

#pragma once
#include <stdint.h>

#include <string>
#include <vector>

#include "../rig_controller/board_avr_pins.h"

struct avr_t;
struct avr_int_vector_t;
struct avr_ioport_t;
struct avr_irq_t;

namespace simulator {

constexpr uint64_t cycles_per_us = 16;

// What the processor does to the world outside; called while it runs.
class Surroundings {
 public:
  virtual ~Surroundings() = default;
  virtual void outputs_changed() = 0;
  virtual void select_changed() = 0;
  virtual bool bus_in_use() const = 0;
  virtual uint8_t bus_transfer(uint8_t byte) = 0;
  virtual void sent(uint8_t byte) = 0;
  virtual void was_reset() = 0;
};

// Longest pass of the firmware's loop, from waking to sleeping with no chip selected. Bus bytes
// count as long as the processor's bus takes, not as simavr's.
struct PassTimes {
  double scan_us = 0, other_us = 0;
};

class Cpu {
 public:
  // Loads an ELF and powers the processor up; raises std::runtime_error.
  Cpu(const std::string& elf_path, Surroundings& surroundings);

  const board::PinMap& pins() const { return *pins_; }
  uint64_t now() const;

  // Runs up to a cycle and at most four further.
  void run_until(uint64_t cycle);

  // Resets with flags of the AVR's status register: 1 power-on, 2 external, 4 brown-out.
  // At power-on and brown-out, memory is lost.
  void reset(uint8_t flags);

  // Level of a pin as the processor drives it; `undriven` where it leaves the wire alone.
  bool level(board::Pin pin, bool undriven) const;
  void drive_pin(board::Pin pin, bool high);

  // False while the processor's receiver is full.
  bool receiver_ready() const { return receiver_ready_; }
  void receive(uint8_t byte);

  // While held, the interrupt that ends a bus transfer does not come.
  void hold_bus(bool held);

  // Changes a byte of program memory, or of data memory as it stands now.
  bool poke_program(uint32_t address, uint8_t byte);
  bool poke_memory(uint32_t address, uint8_t byte);

  // The watchdog's oscillator in shares of its nominal 128 kHz, for when it is next started; while
  // it is not 1, bus transfers and serial bytes take other times.
  void watchdog_rate(double rate);

  // Since last asked, or since a reset.
  PassTimes take_pass_times();

  // Bytes between the static data and the deepest stack since power-on.
  uint32_t stack_unused() const;

  std::vector<uint8_t> read_eeprom() const;
  // What is missing at the end is blank.
  void write_eeprom(std::vector<uint8_t> bytes);

 private:
  void load(const std::string& elf_path);
  void connect_serial();
  void connect_bus();
  void connect_pins();
  avr_ioport_t& port(board::Pin pin) const { return *ports_[pin.port - 'A']; }
  void bus_byte(uint8_t byte);
  void after_reset();
  void falls_asleep(uint64_t for_cycles);

  avr_t* avr_ = nullptr;
  Surroundings& surroundings_;
  const board::PinMap* pins_ = nullptr;
  avr_ioport_t* ports_['L' - 'A' + 1] = {};
  void (*core_reset_)(avr_t*) = nullptr;
  avr_irq_t* serial_in_ = nullptr;
  avr_irq_t* bus_in_ = nullptr;
  avr_int_vector_t* bus_interrupt_ = nullptr;
  bool receiver_ready_ = true, bus_held_ = false, bus_interrupt_owed_ = false;
  bool was_reset_ = false;
  uint64_t awake_since_ = 0, awake_ = 0;  // cycles; of this pass
  uint32_t bus_bytes_ = 0;                // of this pass
  PassTimes pass_times_;
};

}  // namespace simulator
