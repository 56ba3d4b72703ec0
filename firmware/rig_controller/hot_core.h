// Whether an element's core is far hotter than its bath: its heater's resistance tells. The core of
// one that is dry, or has lost its wax, runs away; an immersed one stays within some K a watt.

#pragma once
#include <stdint.h>

#include "timer.h"

class HotCore {
 public:
  // The current has jumped: what is measured until it has settled counts for nothing, and how much
  // the resistance has grown so far is carried over to the new current, where the channels' offsets
  // weigh differently. One that drifts, as in a power ramp, keeps its base: each carrying over brings
  // some noise.
  void step();

  // A feeding begins; after a short break with the base of the one before, if their currents agree.
  void feed(bool base_kept);

  // Takes one settled tick's sums; true when the core has been too hot for some seconds.
  bool hot(uint16_t current, uint16_t voltage, uint32_t bath_sum, uint8_t per_k);

 private:
  enum Next : uint8_t { go_on, first_seen, kept_seen, step_seen };  // what the next whole second is
  void begin_second();
  void begin_base(uint16_t found, uint16_t current, uint16_t bath_sum);
  void carry_over(uint16_t found, uint16_t current);
  bool judge_second(uint32_t bath_sum, uint8_t per_k);

  uint32_t volts_ = 0, amps_ = 0;  // sums of this second's ticks
  uint16_t base_ = 0;              // resistance at the beginning, in 10 / 16384 ohm
  int16_t gain_ = 0;               // since then, in 1e-5
  uint16_t base_current_ = 0;      // that it was measured at, sum of a tick
  uint16_t base_bath_sum_ = 0;
  uint16_t power_mw_ = 0;          // that the core may still be warm by
  uint8_t ticks_ = 0;
  Next next_ = first_seen;
  InARow too_hot_;
};
