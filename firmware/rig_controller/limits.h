// Which limits a host may set: none beyond the floors and ceilings that guard_levels.h states.

#pragma once
#include "guard_levels.h"
#include "scales.h"
#include "wire.h"

namespace ceiling {
constexpr uint32_t probe_sum = sum_at_mc(level::bath_ceiling_mc);
constexpr uint16_t disagree_sum = sum_of_mk(level::disagree_ceiling_mk);
constexpr uint16_t offset_sum = sum_of_mk(level::offset_ceiling_mk);
constexpr uint16_t climb_sum = sum_of_mk(level::climb_ceiling_mk);
constexpr uint16_t heater_on_s = level::heater_on_ceiling_s;
constexpr uint16_t element_code = code_of_ma(level::element_ceiling_ma);
constexpr uint16_t element_on_s = level::element_on_ceiling_s;
}  // namespace ceiling

// True when every field is within its floor and ceiling.
bool limits_allowed(const wire::Limits& limits);

// The ceilings themselves: guarded while no others are in force.
wire::Limits limits_greatest();
