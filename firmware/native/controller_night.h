// A healthy night by a host of few lines inside the library, to look for false alarms in numbers
// that a host outside could not reach: it heats, cools, energises, rests, and now and then is late.

#pragma once
#include <stdint.h>

#include "controller_bench.h"
#include "noise.h"

// What a night was like; numbers only, read in this order.
struct NightRecord {
  double hours = 0, live_hours = 0;
  double trip_reason = 0, trip_s = 0;  // first one; it ends the night
  double station_flags = 0;            // bits of all stations ever seen
  double refused = 0, malformed = 0;
  double hottest_c = 0, heater_on_s = 0, most_lift_mm = 0, elements_on_s = 0, pauses = 0;
};

class ScriptedHost {
 public:
  ScriptedHost(ControllerBench& bench, uint64_t seed);

  // One tick: answers the last sample, or is late or silent.
  void tick();

  const NightRecord& record() const { return record_; }
  bool tripped() const { return record_.trip_reason != 0; }

 private:
  enum class Kind : uint8_t { rest, to, energise, stir };
  struct Step {
    Kind kind;
    double to_c, rate_k_per_min, minutes;
  };

  void begin_step();
  void follow_set_point(double bath_c);
  bool step_done(double bath_c) const;
  wire::Demand demand(double bath_c) const;
  void energise(wire::Demand& demand) const;
  void send(const wire::Demand& demand);
  void note(double bath_c);

  ControllerBench& bench_;
  plant::Noise draw_;
  bool has_heaters_;
  double rise_k_per_min_, element_a_;
  int at_ = -1;
  Step step_ = {};
  double set_c_ = 0;
  uint32_t ticks_ = 0, ticks_in_step_ = 0, silent_ticks_ = 0;
  NightRecord record_;
};
