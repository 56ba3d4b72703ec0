// Steps of 10 s in a ring: the on-time of each and how both probes moved in it.

#include "unseen.h"

#include "scales.h"

namespace {

int8_t move(uint16_t now, uint16_t before) {
  const int16_t moved = int16_t(now - before);
  return int8_t(moved > 127 ? 127 : moved < -127 ? -127 : moved);
}

}  // namespace

bool Unseen::add(const wire::Limits& limits, uint32_t on_ms, uint32_t bath_sum,
                 uint32_t guard_sum, bool cooling) {
  if (cooling) cooled_ = level::unseen_cooled_s / step_s;
  if (++ticks_in_ < ticks) return false;
  ticks_in_ = 0;
  const uint16_t bath = uint16_t(bath_sum / move_counts), guard = uint16_t(guard_sum / move_counts);
  const uint16_t on = uint16_t(on_ms) - on_at_;
  const bool first = bath_at_ == 0;
  step_[next_] = {uint8_t(on / 100), move(bath, bath_at_), move(guard, guard_at_)};
  bath_at_ = bath;
  guard_at_ = guard;
  on_at_ = uint16_t(on_ms);
  next_ = uint8_t((next_ + 1) % steps);
  if (known_ < steps) ++known_;
  if (cooled_ || first) known_ = 0;
  if (cooled_) --cooled_;
  return known_ && judge(limits);
}

// The moves are those of the window and of the delay behind it.
bool Unseen::judge(const wire::Limits& limits) const {
  const uint8_t delay = uint8_t((limits.heat_delay_s + step_s - 1) / step_s);
  int16_t bath = 0, guard = 0;
  int32_t on = 0;  // net of what only holds the bath, in 100 ms
  for (uint8_t back = 0; back < known_ && back < delay + window; ++back) {
    const Step& it = step_[(next_ + steps - 1 - back) % steps];
    bath += it.bath;
    guard += it.guard;
    if (back >= delay) on += it.on - int32_t(limits.heat_loss_duty) * step_s / 100;
  }
  const int32_t predicted = on * limits.heat_rise_sum / 1000;
  const int32_t seen = int32_t(bath < guard ? bath : guard) * move_counts;
  return predicted >= int32_t(sum_of_mk(level::unseen_rise_mk)) &&
         seen * level::unseen_share < predicted;
}
