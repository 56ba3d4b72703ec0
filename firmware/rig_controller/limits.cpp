// Every field of a limits message against its ceiling.

#include "limits.h"

bool limits_allowed(const wire::Limits& limits) {
  if (limits.bath_limit_sum > ceiling::probe_sum || limits.guard_limit_sum > ceiling::probe_sum ||
      limits.disagree_limit_sum > ceiling::disagree_sum ||
      limits.climb_limit_sum > ceiling::climb_sum ||
      limits.heater_on_limit_s > ceiling::heater_on_s)
    return false;
  for (uint8_t s = 0; s < wire::stations; ++s)
    if (limits.element_max_code[s] > ceiling::element_code ||
        limits.element_on_limit_s[s] > ceiling::element_on_s)
      return false;
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
    limits.lift_high_code[s] = limits.over_stroke_code[s] = 4095;
  }
  return limits;
}
