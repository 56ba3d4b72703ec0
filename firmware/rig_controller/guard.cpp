// One function a kind of row; levels and persistences are those of guard_levels.h.

#include "guard.h"

#include "guard_levels.h"
#include "limits.h"
#include "scales.h"

namespace {

using wire::Input;
using wire::Output;
using wire::TripReason;

constexpr uint16_t disagree_wide_sum = sum_of_mk(level::disagree_wide_mk);
constexpr uint16_t quiet_climb_sum = sum_of_mk(level::quiet_climb_mk);

bool believable(uint32_t sum, uint8_t fault) {
  return !fault && sum >= probe_low_sum && sum <= probe_high_sum;
}

}  // namespace

void Guard::row(TripReason reason, bool present, bool complete, uint32_t value, uint32_t limit) {
  present_ = present ? present_ | mask_of(reason) : present_ & ~mask_of(reason);
  if (complete && cause_.reason == TripReason::none) cause_ = {reason, value, limit};
}

void Guard::lasting(TripReason reason, Lasting& timer, bool present, uint32_t now_ms,
                    uint16_t limit_ms) {
  timer.note(present, now_ms);
  row(reason, present, timer.reached(now_ms, limit_ms), timer.ms(now_ms), limit_ms);
}

Cause Guard::take_cause() {
  const Cause cause = cause_;
  cause_ = Cause();
  return cause;
}

bool Guard::stirred(uint32_t now_ms) const {
  return turning_.reached(now_ms, level::stirred_ms);
}

// Stands first in a pass, so that it is what replaces a lesser trip while others stand too. A relay
// takes a moment to open: the cause is there only when the heat has outlasted it.
void Guard::look_for_heat_while_off(const Status& status, uint32_t now_ms) {
  off_failed_.note(!status.live() && (status.in(Input::heater_live) || fed_while_off_), now_ms);
  const bool failed = off_failed_.reached(now_ms, level::off_failed_ms);
  row(TripReason::off_failed, failed, failed, off_failed_.ms(now_ms), level::off_failed_ms);
}

void Guard::look(const Status& status, uint32_t now_ms) {
  look_for_heat_while_off(status, now_ms);
  lasting(TripReason::emergency_stop, stop_open_, !status.in(Input::emergency_stop_closed), now_ms,
          level::stop_ms);
  lasting(TripReason::level_low, level_low_, !status.in(Input::level_ok), now_ms,
          level::level_low_ms);

  const bool driven = status.out(Output::stirrer);
  const bool turning = status.in(Input::stirrer_turning);
  stirrer_on_.note(driven, now_ms);
  stirrer_off_.note(!driven, now_ms);
  if (stirrer_off_.reached(now_ms, level::layers_ms)) layered_ = true;
  if (stirrer_on_.reached(now_ms, level::stirred_ms)) layered_ = false;
  turning_.note(driven && turning, now_ms);
  lasting(TripReason::stirrer_stopped, not_turning_, driven && !turning, now_ms,
          level::not_turning_ms);
  lasting(TripReason::stirrer_sense, turning_unasked_, !driven && turning, now_ms,
          level::stirrer_sense_ms);

  const bool mirror_wrong = status.out(Output::contactor) == status.in(Input::contactor_open);
  lasting(TripReason::contactor_mirror, mirror_wrong_, mirror_wrong, now_ms, level::mirror_ms);

  const bool heater = status.out(Output::heater);
  const bool sensed = status.in(Input::heater_live);
  heater_off_.note(!heater, now_ms);
  lasting(TripReason::heater_welded, live_while_off_, !heater && sensed, now_ms,
          level::heater_welded_ms);

  // On-time without a sign of current: at a low duty it adds up over several ticks.
  if (sensed || !status.live()) on_ms_at_sense_ = status.heater_on_ms;
  const uint32_t unsensed_ms = status.heater_on_ms - on_ms_at_sense_;
  const bool open = unsensed_ms >= level::heater_open_ms;
  row(TripReason::heater_open, open, open, unsensed_ms, level::heater_open_ms);
}

void Guard::judge(const Status& status, const Sums& sums, const wire::Limits& limits,
                  const Elements& elements, uint32_t now_ms) {
  judge_parts(sums);
  judge_probe(TripReason::bath_probe_fault, TripReason::bath_over_limit, bath_faulty_, bath_over_,
              sums.bath, sums.bath_fault, limits.bath_limit_sum);
  judge_probe(TripReason::guard_probe_fault, TripReason::guard_over_limit, guard_faulty_,
              guard_over_, sums.guard, sums.guard_fault, limits.guard_limit_sum);

  judge_disagreement(sums, limits, now_ms);

  if (believable(sums.bath, sums.bath_fault)) believed_bath_sum_ = sums.bath;
  if (believable(sums.guard, sums.guard_fault)) believed_guard_sum_ = sums.guard;
  heat_unseen_ = unseen_.add(limits, status.heater_on_ms, believed_bath_sum_, believed_guard_sum_,
                             status.out(Output::cooling)) &&
                 status.live();
  if (heat_unseen_) unseen_.restart();
  judge_climb(status, limits.climb_limit_sum);
  judge_quiet_climb(elements, now_ms);
  judge_elements(sums, elements, now_ms);

  const uint32_t on_ms = status.heater_on_ms - on_ms_at_closing_;
  const bool too_long = status.live() && on_ms > limits.heater_on_limit_s * 1000UL;
  row(TripReason::heater_on_limit, too_long, too_long, on_ms / 1000, limits.heater_on_limit_s);
}

// Parts stand before what they measure. The value is a bit per RTD converter, and an ADC's code.
void Guard::judge_parts(const Sums& sums) {
  const bool wrong = sums.parts_wrong != 0;
  row(TripReason::part_read_back, wrong, parts_wrong_.reached(wrong, level::part_samples),
      sums.parts_wrong, 0);

  uint16_t code = 0, bound = 0;
  for (uint8_t i = 0; i < board::adcs; ++i) {
    const uint16_t found = sums.reference[i], right = board::reference_code[i];
    const uint16_t low = right - level::reference_band_code;
    const uint16_t high = right + level::reference_band_code;
    if (found >= low && found <= high) continue;
    code = found;
    bound = found < low ? low : high;
  }
  row(TripReason::reference_channel, bound, reference_off_.reached(bound, level::part_samples),
      code, bound);
}

// The fault row stands first: an open probe also reads hot.
void Guard::judge_probe(TripReason fault_reason, TripReason over_reason, InARow& faulty,
                        InARow& over, uint32_t sum, uint8_t fault, uint32_t limit) {
  const bool bad = !believable(sum, fault);
  const uint32_t bound = sum < probe_low_sum ? probe_low_sum : probe_high_sum;
  row(fault_reason, bad, faulty.reached(bad, level::probe_samples), fault ? fault : sum,
      fault ? 0 : bound);
  const bool hot = sum > limit;
  row(over_reason, hot, over.reached(hot, level::probe_samples), sum, limit);
}

// Two probes that are right differ by their offset and, while the bath moves, by what the slower one
// has to make up for. A bath that is not stirred lies in layers: there only a wide level can hold,
// and a tripped bench must become clear again.
void Guard::judge_disagreement(const Sums& sums, const wire::Limits& limits, uint32_t now_ms) {
  if (believable(sums.bath, sums.bath_fault) && believable(sums.guard, sums.guard_fault))
    pace_.add(sums.bath, sums.guard);
  uint32_t limit = disagree_wide_sum;
  if (turning_.reached(now_ms, level::disagree_stirred_ms)) {
    limit = limits.disagree_limit_sum + pace_.within(limits.probe_lag_s);
    if (limit > ceiling::disagree_sum) limit = ceiling::disagree_sum;
  }
  const int32_t offset = int32_t(limits.disagree_offset_sum) - wire::offset_middle;
  const int32_t apart = int32_t(sums.bath - sums.guard) - offset;
  const uint32_t difference = apart < 0 ? -apart : apart;
  const bool wrong = difference > limit;
  row(TripReason::probes_disagree, wrong, disagree_.reached(wrong, level::disagree_samples),
      difference, limit);
}

// Judged in LIVE. A started stirrer mixes the layers of a bath that stood still: its first 3 s,
// in which no heat is allowed either, do not count.
void Guard::judge_climb(const Status& status, uint16_t limit) {
  if (!believed_bath_sum_ || (layered_ && status.out(Output::stirrer))) fast_climb_.restart();
  const uint16_t rise = fast_climb_.add(believed_bath_sum_);
  const bool fast = status.live() && rise > limit;
  row(TripReason::climb_too_fast, fast, fast, rise, limit);
}

void Guard::judge_quiet_climb(const Elements& elements, uint32_t now_ms) {
  elements_off_.note(elements.switches() == 0, now_ms);
  const bool quiet = heater_off_.reached(now_ms, level::quiet_heater_ms) &&
                     elements_off_.reached(now_ms, level::quiet_elements_ms) &&
                     turning_.reached(now_ms, level::quiet_stirrer_ms);
  if (!quiet) slow_climb_.restart();
  const uint16_t rise = quiet ? slow_climb_.add(believed_bath_sum_) : 0;
  const bool climbs = rise > quiet_climb_sum;
  row(TripReason::climb_while_off, climbs, climbs, rise, quiet_climb_sum);
}

// Current through a station that is switched off: its switch or the feed does not open. No current
// is believed while a part is wrong.
void Guard::judge_elements(const Sums& sums, const Elements& elements, uint32_t now_ms) {
  uint16_t worst = 0;
  const bool parts_stand = !stands(TripReason::part_read_back) &&
                           !stands(TripReason::reference_channel);
  for (uint8_t s = 0; s < board::stations; ++s)
    if (parts_stand && elements.settled_off(s, now_ms) && sums.current[s] > worst) worst = sums.current[s];
  fed_while_off_ = worst >= element_judged_sum;
  row(TripReason::element_feed_stuck, fed_while_off_, fed_while_off_, worst, element_judged_sum);
}
