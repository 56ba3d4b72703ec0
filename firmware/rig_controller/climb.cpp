// Means and rises; see climb.h for what counts as one.

#include "climb.h"

uint16_t FastClimb::add(uint32_t bath_sum) {
  filling_ += bath_sum;
  if (++ticks_in_ < ticks) return 0;
  const uint32_t now = filling_;
  const uint32_t then = second_[next_];
  second_[next_] = now;
  next_ = (next_ + 1) % seconds;
  filling_ = ticks_in_ = 0;
  if (known_ < seconds) {
    ++known_;
    return 0;
  }
  return now > then ? uint16_t((now - then) / ticks) : 0;
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
