// The controller's processor with its chips, its wires and the plant, in lock step.
//
// The plant takes a step of 25 ms, 20 ms after the controller has begun and every 25 ms from there:
// between the firmware's scans, which begin every 25 ms and last 8 to 11. So each scan sees one
// state of the plant, as in the native bench. It stands still while the controller tests itself
// after a reset, which is over when it first selects a chip. Host bytes enter at the line's rate.

#pragma once
#include <stdint.h>

#include <deque>
#include <string>

#include "../native/devices.h"
#include "../native/plant.h"
#include "cpu.h"

namespace simulator {

// An output that changed, as seen on its pin.
struct Change {
  uint64_t at_us;
  std::string name;
  bool on;
};

class Machine : private Surroundings {
 public:
  // Powers a controller up that holds a serial number equal to the seed; raises
  // std::runtime_error for a firmware that cannot be loaded.
  Machine(const std::string& elf_path, uint64_t seed);

  // Since the controller has begun for the first time.
  uint64_t now_us() const { return (cpu_.now() - begun_) / cycles_per_us; }
  void advance_us(uint64_t us);

  // Resets with the processor's flags, see Cpu::reset; the controller has begun when it returns.
  void boot(uint8_t flags);

  // From the next reset on, the watchdog's oscillator in shares of its nominal frequency, as the
  // controller finds it in its test.
  void watchdog_rate(double rate) { watchdog_rate_ = rate; }

  // Bytes for the serial port, and those it has sent since they were last taken.
  void receive(const char* bytes, size_t count);
  std::string take_sent();

  // Bytes enter although the receiver is full, and are lost there, as on a real line.
  void ignore_xoff(bool ignored) { ignore_xoff_ = ignored; }

  // For so long no bus transfer ends; a reset ends it too.
  void hold_bus_us(uint64_t us);

  // Parameter or true value of the plant, "output.<name>" as the pins stand,
  // "input.emergency_stop_closed" likewise, "resets", or "stack_unused" in bytes.
  bool get(const std::string& key, double* value) const;
  // The newest changes, 100 000 at most, since last asked.
  std::deque<Change> take_changes();

  plant::Plant& plant() { return plant_; }
  devices::Bus& bus() { return bus_; }
  Cpu& cpu() { return cpu_; }
  const Cpu& cpu() const { return cpu_; }

 private:
  void outputs_changed() override;
  void select_changed() override;
  bool bus_in_use() const override { return chip_ < board::chips; }
  uint8_t bus_transfer(uint8_t byte) override;
  void sent(uint8_t byte) override;
  void was_reset() override;

  void follow(bool& known, board::Pin pin, const char* name, int station);
  void step_plant();
  void drive_inputs();
  void end_spike();
  void feed_byte();
  uint64_t next_event() const;

  plant::Plant plant_;
  plant::Drive drive_ = {};
  devices::Bus bus_;
  Cpu cpu_;
  uint8_t chip_ = board::no_chip;
  uint64_t begun_ = 0, target_ = 0, plant_due_ = 0, byte_due_ = 0, bus_free_ = 0;
  static constexpr uint64_t never = UINT64_MAX;
  uint64_t spike_ends_ = never;
  bool stop_line_closed_ = true;
  bool testing_itself_ = true, bus_held_ = false, ignore_xoff_ = false;
  std::deque<uint8_t> unreceived_;
  std::string sent_;
  std::deque<Change> changes_;
  uint32_t resets_ = 0;
  double watchdog_rate_ = 1.0;
};

}  // namespace simulator
