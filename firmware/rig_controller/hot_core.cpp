// Means of a second, compared with the first one of the feeding. Volts and amperes a count are
// 1.25 mV and 0.125 mA.

#include "hot_core.h"

#include "guard_levels.h"
#include "scales.h"

namespace {

constexpr uint8_t ticks_a_second = 1000 / wire::tick_ms;
constexpr int32_t one_e5 = 100000;
constexpr int32_t gain_most_e5 = 32000;

// Of a second's sums, in 10 / 16384 ohm; 40 ohm at most.
uint16_t resistance(uint32_t volts, uint32_t amps) {
  const uint32_t found = volts * 16384 / amps;
  return found > 0xFFFF ? 0xFFFF : uint16_t(found);
}

// Of the sums of so many ticks.
uint32_t power_mw(uint32_t volts, uint32_t amps, uint8_t ticks) {
  return (volts * 5 / 4 / ticks) * (amps / 8 / ticks) / 1000;
}

int32_t mk_of_sum(int32_t sum) { return sum * 1000 / int32_t(sum_of_mk(1000)); }

}  // namespace

void HotCore::begin_second(Next next) {
  if (next != go_on && next_ != first_seen) next_ = next;
  volts_ = amps_ = 0;
  ticks_ = 0;
}

void HotCore::feed(bool base_kept) {
  next_ = base_kept && base_ ? go_on : first_seen;
  too_hot_ = InARow();
  begin_second(go_on);
}

bool HotCore::hot(uint16_t current, uint16_t voltage, uint32_t bath_sum, uint8_t per_k) {
  volts_ += voltage;
  amps_ += current;
  if (++ticks_ < (next_ == go_on ? ticks_a_second : level::hot_first_ticks)) return false;
  const bool hot = judge_second(bath_sum, per_k);
  begin_second(go_on);
  return hot;
}

bool HotCore::judge_second(uint32_t bath_sum, uint8_t per_k) {
  if (amps_ < uint32_t(sum_of_ma(level::element_judged_ma)) * ticks_) return false;
  const uint16_t found = resistance(volts_, amps_);
  if (next_ == first_seen) {
    base_ = found;
    base_bath_sum_ = uint16_t(bath_sum);
    power_mw_ = 0;
    gain_ = 0;
  } else if (next_ == step_seen) {
    base_ = uint16_t(uint32_t(found) * 1000 / uint32_t(1000 + gain_ / 100));
  }
  next_ = go_on;
  const int32_t grown = (int32_t(found) - base_) * (one_e5 / 32) / base_ * 32;
  gain_ = int16_t(grown > gain_most_e5 ? gain_most_e5 : grown < -gain_most_e5 ? -gain_most_e5 : grown);

  const uint16_t power = uint16_t(power_mw(volts_, amps_, ticks_));
  if (power >= power_mw_) power_mw_ = power;
  else power_mw_ -= (power_mw_ - power) / level::hot_cooling_s;
  const int32_t warmer_mk = int32_t(power_mw_) * level::hot_k_per_w +
                            level::hot_margin_mk + mk_of_sum(int32_t(bath_sum) - base_bath_sum_);
  const int32_t limit = warmer_mk / 100 * per_k / 10 + level::hot_leads_e5;
  return too_hot_.reached(per_k && gain_ > limit, level::hot_seconds);
}
