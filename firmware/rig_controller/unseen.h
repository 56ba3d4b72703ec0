// Heat that no probe shows: what the heater has given must be seen at both probes some time later.
// An open lid or a boiling bath look like stuck probes, so it is no trip: the heat stops.

#pragma once
#include <stdint.h>

#include "guard_levels.h"
#include "wire.h"

class Unseen {
 public:
  // Takes one tick's plausible sums and the heater's on-time; true when the heat of the last two
  // minutes, its delay ago, should have been seen and at one probe was not.
  bool add(const wire::Limits& limits, uint32_t on_ms, uint32_t bath_sum, uint32_t guard_sum,
           bool cooling);

  void restart() { known_ = 0; }

 private:
  static constexpr uint8_t step_s = 10;
  static constexpr uint8_t ticks = step_s * (1000 / wire::tick_ms);
  static constexpr uint8_t window = level::unseen_window_s / step_s;
  static constexpr uint8_t delay_most = 120 / step_s;
  static constexpr uint8_t steps = window + delay_most;
  static constexpr uint8_t move_counts = 4;

  struct Step {
    uint8_t on;          // heater's, in 100 ms
    int8_t bath, guard;  // moves of the probes, in move_counts
  };
  bool judge(const wire::Limits& limits) const;

  Step step_[steps];  // the newest before next_
  uint16_t bath_at_ = 0, guard_at_ = 0, on_at_ = 0;
  uint8_t next_ = 0, known_ = 0, ticks_in_ = 0, cooled_ = 0;
};
