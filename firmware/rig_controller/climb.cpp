// Means and rises; see climb.h for what counts as one.

#include "climb.h"

uint16_t FastClimb::add(uint32_t bath_sum) {
  filling_ += bath_sum;
  if (++ticks_in_ < ticks) return 0;
  const uint16_t now = uint16_t((filling_ + ticks / 2) / ticks);
  const uint16_t then = second_[next_];
  second_[next_] = now;
  next_ = (next_ + 1) % seconds;
  filling_ = ticks_in_ = 0;
  if (known_ < seconds) {
    ++known_;
    return 0;
  }
  return now > then ? uint16_t(now - then) : 0;
}

uint16_t SlowClimb::add(uint32_t bath_sum) {
  filling_ += bath_sum;
  if (++ticks_in_ < ticks) return rise_;
  uint32_t mean = filling_ / ticks;
  if (mean < floor_sum) mean = floor_sum;
  filling_ = ticks_in_ = 0;
  if (lowest_ == 0 || mean < lowest_) lowest_ = mean;
  rise_ = uint16_t(mean - lowest_);
  return rise_;
}

void Pace::take(uint32_t& follower, uint32_t sum) {
  if (follower == 0) follower = sum * follow_ticks;
  const uint32_t at = follower / follow_ticks;
  follower += sum - at;
  constexpr uint32_t most =
      sum_of_mk(level::climb_ceiling_mk) * follow_ticks / (10 * (1000 / wire::tick_ms));
  uint32_t ahead = sum > at ? sum - at : at - sum;
  if (ahead > most) ahead = most;
  if (ahead * fade_ticks > ahead_) ahead_ = ahead * fade_ticks;
}

void Pace::add(uint32_t bath_sum, uint32_t guard_sum) {
  ahead_ -= ahead_ / fade_ticks;
  take(bath_, bath_sum);
  take(guard_, guard_sum);
}

uint32_t Pace::within(uint8_t seconds) const {
  return ahead_ / fade_ticks * seconds * (1000 / wire::tick_ms) / follow_ticks;
}
