// Means of a second, compared with the first one of the feeding. Volts and amperes a count are
// 1.25 mV and 0.125 mA.

#include "hot_core.h"

#include "guard_levels.h"
#include "scales.h"

namespace {

constexpr uint8_t ticks_a_second = 1000 / wire::tick_ms;
constexpr int32_t one_e5 = 100000;
constexpr int32_t gain_most_e5 = 30000;
constexpr int32_t grown_most = 20000;  // of a resistance, so that no product wraps

// Of a second's sums, in 10 / 16384 ohm; 40 ohm at most.
uint16_t resistance(uint32_t volts, uint32_t amps) {
  const uint32_t found = volts * 16384 / amps;
  return found > 0xFFFF ? 0xFFFF : uint16_t(found);
}

// Of the sums of so many ticks.
uint32_t power_mw(uint32_t volts, uint32_t amps, uint8_t ticks) {
  return (volts * 5 / 4 / ticks) * (amps / 8 / ticks) / 1000;
}

uint16_t apart(uint16_t a, uint16_t b) { return a > b ? a - b : b - a; }

int32_t within(int32_t value, int32_t most) {
  return value > most ? most : value < -most ? -most : value;
}

// Rounded, for what is cut off would add up over the steps of a staircase.
int32_t share(int32_t product, int32_t of) {
  return (product + (product < 0 ? -of : of) / 2) / of;
}

int32_t mk_of_sum(int32_t sum) { return sum * 1000 / int32_t(sum_of_mk(1000)); }

}  // namespace

void HotCore::begin_second() {
  volts_ = amps_ = 0;
  ticks_ = 0;
}

void HotCore::step() {
  if (next_ == go_on) next_ = step_seen;
  begin_second();
}

void HotCore::feed(bool base_kept) {
  next_ = base_kept && base_ ? kept_seen : first_seen;
  too_hot_ = InARow();
  begin_second();
}

bool HotCore::hot(uint16_t current, uint16_t voltage, uint32_t bath_sum, uint8_t per_k) {
  volts_ += voltage;
  amps_ += current;
  const bool slow = next_ == go_on || amps_ < uint32_t(sum_of_ma(level::hot_first_ma)) * (ticks_ + 1);
  if (++ticks_ < (slow ? ticks_a_second : level::hot_first_ticks)) return false;
  const bool hot = judge_second(bath_sum, per_k);
  begin_second();
  return hot;
}

void HotCore::begin_base(uint16_t found, uint16_t current, uint16_t bath_sum) {
  base_ = found;
  base_current_ = current;
  base_bath_sum_ = bath_sum;
  power_mw_ = 0;
  gain_ = 0;
}

void HotCore::carry_over(uint16_t found, uint16_t current) {
  base_ = uint16_t(found - share(int32_t(found) * gain_, one_e5 + gain_));
  base_current_ = current;
}

bool HotCore::judge_second(uint32_t bath_sum, uint8_t per_k) {
  if (amps_ < uint32_t(sum_of_ma(level::hot_judged_ma)) * ticks_) return false;
  const uint16_t found = resistance(volts_, amps_), current = uint16_t(amps_ / ticks_);
  const bool far = apart(current, base_current_) > sum_of_ma(level::hot_far_ma);
  if (next_ == first_seen || (next_ == kept_seen && far)) begin_base(found, current, uint16_t(bath_sum));
  else if (next_ == step_seen) carry_over(found, current);
  next_ = go_on;
  const int32_t grown_e5 = share(within(int32_t(found) - base_, grown_most) * one_e5, base_);
  gain_ = int16_t(within(grown_e5, gain_most_e5));

  const uint16_t power = uint16_t(power_mw(volts_, amps_, ticks_));
  if (power >= power_mw_) power_mw_ = power;
  else power_mw_ -= (power_mw_ - power) / level::hot_cooling_s;
  const int32_t warmer_mk = int32_t(power_mw_) * level::hot_k_per_w +
                            level::hot_margin_mk + mk_of_sum(int32_t(bath_sum) - base_bath_sum_);
  const int32_t limit = warmer_mk / 100 * per_k / 10 + level::hot_leads_e5;
  return too_hot_.reached(per_k && gain_ > limit, level::hot_seconds);
}
