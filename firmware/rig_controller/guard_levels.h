// Generated from host/proofbath/wire/guard_levels.py by host/write_wire.py; do not edit.

// Levels and persistences of the guard rows. A name ends in its unit; scales.h turns mK, m degC
// and mA into the sums and codes of the converters.

#pragma once
#include <stdint.h>

namespace level {

// Above the boil of any glycol mix.
constexpr uint32_t bath_ceiling_mc = 125000;
// The wide level where a probe counts most a kelvin.
constexpr uint16_t disagree_ceiling_mk = 4100;
// Greatest offset of two probes.
constexpr uint16_t offset_ceiling_mk = 3000;
// Greatest lag between two probes.
constexpr uint8_t probe_lag_ceiling_s = 60;
// 20 K/min over 10 s.
constexpr uint16_t climb_ceiling_mk = 3333;
// 14 h: longer than any night.
constexpr uint16_t heater_on_ceiling_s = 50400;
// Greatest element set-point.
constexpr uint16_t element_ceiling_ma = 1500;
// 4 h unbroken: a power ramp of 0.05 W/min to 12 W.
constexpr uint16_t element_on_ceiling_s = 14400;
// In 1e-5 per K, of any heater wire.
constexpr uint8_t element_per_k_ceiling = 50;
// Lowest code of a gauge that is whole.
constexpr uint8_t gauge_floor_code = 20;
// Highest code of a gauge that is whole.
constexpr uint16_t gauge_ceiling_code = 4075;
// Colder is no plausible bath.
constexpr int32_t probe_lowest_mc = -20000;
// Hotter is no plausible bath.
constexpr uint32_t probe_highest_mc = 160000;
// Low threshold of the guard probe's converter, by which it is known from the bath probe's.
constexpr int32_t guard_threshold_mc = -15000;
// Between two cycles that look for broken leads.
constexpr uint16_t leads_ms = 1000;
// One disturbed sample trips nothing.
constexpr uint8_t probe_samples = 3;
// In a bath that is not stirred, or not yet, and lies in layers.
constexpr uint16_t disagree_wide_mk = 4000;
// From then on the host's limit.
constexpr uint16_t disagree_stirred_ms = 60000;
// 3 s.
constexpr uint8_t disagree_samples = 30;
// Still for so long, a bath parts into layers that mix at the start.
constexpr uint16_t layers_ms = 30000;
// Rise that was to be seen.
constexpr uint16_t unseen_rise_mk = 2000;
// Less than one part in so many was seen.
constexpr uint8_t unseen_share = 3;
// Of heat, beside its delay.
constexpr uint8_t unseen_window_s = 120;
// After the cooling valve closed.
constexpr uint16_t unseen_cooled_s = 360;
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
// No heater has so little: 14 to 18 ohm (common practice, no source).
constexpr uint8_t element_short_ohm = 3;
// An immersed core over its bath.
constexpr uint8_t hot_k_per_w = 4;
// Beside what the power explains.
constexpr uint16_t hot_margin_mk = 10000;
// Less heats no core, and its noise hides it.
constexpr uint8_t hot_judged_ma = 250;
// Offsets of the channels differ between far currents.
constexpr uint8_t hot_far_ma = 100;
// A small core is hot before half a second is over.
constexpr uint8_t hot_settle_ms = 100;
// Of the base, for the same reason.
constexpr uint8_t hot_first_ticks = 3;
// Less heats slowly: the base is a whole second's.
constexpr uint16_t hot_first_ma = 400;
// In which a core cools when its power falls.
constexpr uint8_t hot_cooling_s = 40;
// Leads and contacts, in 1e-5 of the resistance.
constexpr uint8_t hot_leads_e5 = 100;
// Means of a second in a row.
constexpr uint8_t hot_seconds = 3;
// A shorter break keeps the base.
constexpr uint16_t hot_base_kept_ms = 60000;
// Outside its limits.
constexpr uint16_t gauge_ms = 1000;

}  // namespace level
