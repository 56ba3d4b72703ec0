// Looks at how the temperature moves, on means or against a follower, so that noise of a few counts
// and a single disturbed tick do nothing. Sums are of one tick (scan.h), near 126 counts a kelvin.

#pragma once
#include <stdint.h>

#include "guard_levels.h"
#include "scales.h"

// Rise within 10 s: the mean of the latest second against the mean of the second 10 s before.
class FastClimb {
 public:
  void restart() { *this = FastClimb(); }

  // Takes one tick's plausible sum; returns the rise when a second is complete and 10 s lie behind
  // it.
  uint16_t add(uint32_t bath_sum);

 private:
  static constexpr uint8_t seconds = 10;
  static constexpr uint8_t ticks = 10;  // of one second
  uint16_t second_[seconds] = {};       // means of whole seconds, oldest at next_
  uint32_t filling_ = 0;
  uint8_t ticks_in_ = 0, known_ = 0, next_ = 0;
};

// Rise above the lowest 10 s mean since the restart. Means below the floor count as the floor: a cold
// bath is warmed by the room, by its stirrer and by whoever fills it.
class SlowClimb {
 public:
  void restart() { *this = SlowClimb(); }

  // Takes one tick's sum; returns the rise known so far.
  uint16_t add(uint32_t bath_sum);

 private:
  static constexpr uint8_t ticks = 100;
  static constexpr uint32_t floor_sum = sum_at_mc(level::quiet_floor_mc);
  uint32_t filling_ = 0, lowest_ = 0;
  uint16_t rise_ = 0;
  uint8_t ticks_in_ = 0;
};

// How fast the probes move: how far the faster one runs ahead of a follower that lags by 12.8 s. It
// dies away slowly (102 s), so that it outlasts what a slow probe has still to make up for when a
// ramp ends.
class Pace {
 public:
  // Takes one tick's plausible sums.
  void add(uint32_t bath_sum, uint32_t guard_sum);

  // How far a probe moves in so many seconds, in counts; never more than the climb's ceiling.
  uint32_t within(uint8_t seconds) const;

 private:
  static constexpr uint8_t follow_ticks = 128;
  static constexpr uint16_t fade_ticks = 1024;
  void take(uint32_t& follower, uint32_t sum);

  uint32_t bath_ = 0, guard_ = 0;  // followers, in 1 / follow_ticks of a count
  uint32_t ahead_ = 0;             // in 1 / fade_ticks of a count
};
