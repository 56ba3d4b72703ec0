// Every field of a limits message against its floor and ceiling.

#include "limits.h"

namespace {

bool station_allowed(const wire::Limits& limits, uint8_t s) {
  return limits.element_max_code[s] <= ceiling::element_code &&
         limits.element_on_limit_s[s] <= ceiling::element_on_s &&
         limits.element_per_k[s] <= level::element_per_k_ceiling &&
         limits.lift_low_code[s] >= level::gauge_floor_code &&
         limits.lift_high_code[s] <= level::gauge_ceiling_code &&
         limits.over_stroke_code[s] <= level::gauge_ceiling_code;
}

}  // namespace

// A heat_rise_sum of 0, and the heat that holds the bath, ask for less guarding and may: they are
// known only after a bench was tuned. The lag opens no level beyond its ceiling (guard.cpp).
bool limits_allowed(const wire::Limits& limits) {
  if (limits.bath_limit_sum > ceiling::probe_sum || limits.guard_limit_sum > ceiling::probe_sum ||
      limits.disagree_limit_sum > ceiling::disagree_sum ||
      limits.disagree_offset_sum < wire::offset_middle - ceiling::offset_sum ||
      limits.disagree_offset_sum > wire::offset_middle + ceiling::offset_sum ||
      limits.probe_lag_s > level::probe_lag_ceiling_s ||
      limits.climb_limit_sum > ceiling::climb_sum ||
      limits.heater_on_limit_s > ceiling::heater_on_s)
    return false;
  for (uint8_t s = 0; s < wire::stations; ++s)
    if (!station_allowed(limits, s)) return false;
  return true;
}

wire::Limits limits_greatest() {
  wire::Limits limits = {};
  limits.bath_limit_sum = limits.guard_limit_sum = ceiling::probe_sum;
  limits.disagree_limit_sum = ceiling::disagree_sum;
  limits.disagree_offset_sum = wire::offset_middle;
  limits.climb_limit_sum = ceiling::climb_sum;
  limits.heater_on_limit_s = ceiling::heater_on_s;
  for (uint8_t s = 0; s < wire::stations; ++s) {
    limits.element_max_code[s] = ceiling::element_code;
    limits.element_on_limit_s[s] = ceiling::element_on_s;
    limits.lift_low_code[s] = level::gauge_floor_code;
    limits.lift_high_code[s] = limits.over_stroke_code[s] = level::gauge_ceiling_code;
  }
  return limits;
}
