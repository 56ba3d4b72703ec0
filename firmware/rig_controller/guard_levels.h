// Generated from host/proofbath/wire/guard_levels.py by host/write_wire.py; do not edit.

// Levels and persistences of the guard rows. A name ends in its unit; scales.h turns mK, m degC
// and mA into the sums and codes of the converters.

#pragma once
#include <stdint.h>

namespace level {

// Above the boil of any glycol mix.
constexpr uint32_t bath_ceiling_mc = 125000;
// Greatest probe difference.
constexpr uint16_t disagree_ceiling_mk = 5000;
// 20 K/min over 10 s.
constexpr uint16_t climb_ceiling_mk = 3333;
// 14 h: longer than any night.
constexpr uint16_t heater_on_ceiling_s = 50400;
// Greatest element set-point.
constexpr uint16_t element_ceiling_ma = 1500;
// 4 h unbroken: a power ramp of 0.05 W/min to 12 W.
constexpr uint16_t element_on_ceiling_s = 14400;
// Colder is no plausible bath.
constexpr int32_t probe_lowest_mc = -20000;
// Hotter is no plausible bath.
constexpr uint32_t probe_highest_mc = 160000;
// One disturbed sample trips nothing.
constexpr uint8_t probe_samples = 3;
// 3 s.
constexpr uint8_t disagree_samples = 30;
// Still for so long, a bath parts into layers that mix at the start.
constexpr uint16_t layers_ms = 30000;
// Sheath and mixing are over.
constexpr uint32_t quiet_heater_ms = 120000;
// Element heat has left the units.
constexpr uint16_t quiet_elements_ms = 60000;
// A restarted stirrer has mixed.
constexpr uint16_t quiet_stirrer_ms = 60000;
// Above the lowest 10 s mean.
constexpr uint16_t quiet_climb_mk = 500;
// Colder counts as this: the room warms a cold bath.
constexpr uint16_t quiet_floor_mc = 35000;
// Two looks: a spike that one look sees is none.
constexpr uint8_t stop_ms = 1;
// Waves open the float's contact shortly.
constexpr uint16_t level_low_ms = 1000;
// Turning so long before heat.
constexpr uint16_t stirred_ms = 3000;
// Driven without turning.
constexpr uint16_t not_turning_ms = 2000;
// Turning after its drive went off.
constexpr uint16_t stirrer_sense_ms = 5000;
// Against the contactor's drive.
constexpr uint16_t mirror_ms = 500;
// Current after off.
constexpr uint8_t heater_welded_ms = 200;
// On-time without current.
constexpr uint16_t heater_open_ms = 500;
// Heat that goes on with everything off.
constexpr uint16_t off_failed_ms = 1000;
// Wrong in a row.
constexpr uint8_t part_samples = 3;
// 1 % of full scale: references and resistors of 0.1 to 0.2 %.
constexpr uint8_t reference_band_code = 41;
// Less is not judged.
constexpr uint8_t element_judged_ma = 100;
// After a change.
constexpr uint16_t element_settle_ms = 500;
// Less is no change: a slow power ramp is steady.
constexpr uint8_t element_change_ma = 20;
// One disturbed sample costs no unit its night.
constexpr uint8_t element_samples = 3;
// Beside a tenth of the set-point.
constexpr uint8_t element_over_ma = 40;
// A heater has 8 to 18 ohm.
constexpr uint8_t element_short_ohm = 3;
// Outside its limits.
constexpr uint16_t gauge_ms = 1000;

}  // namespace level
