// The guard table: every cause that trips the bench, with its level and persistence.
// Station faults, which cost one station only, are in elements.h; the lease is in controller.cpp.

#pragma once
#include <stdint.h>

#include "climb.h"
#include "elements.h"
#include "scan.h"
#include "status.h"
#include "timer.h"
#include "unseen.h"

class Guard {
 public:
  // The contactor closes anew: the heater's on-time counts from here.
  void contactor_closes(const Status& status) { on_ms_at_closing_ = status.heater_on_ms; }

  // Rows that live on digital inputs; each loop pass.
  void look(const Status& status, uint32_t now_ms);

  // Rows that live on measured sums; each tick.
  void judge(const Status& status, const Sums& sums, const wire::Limits& limits,
             const Elements& elements, uint32_t now_ms);

  // A cause the controller finds in itself: present or not, without persistence.
  void own(wire::TripReason reason, bool present, uint32_t value, uint32_t limit) {
    row(reason, present, present, value, limit);
  }

  // First completed cause since the last call, reason `none` when there is none.
  Cause take_cause();

  // Bit per TripReason that stands now, persistence aside.
  uint32_t causes() const { return present_; }
  bool stands(wire::TripReason reason) const { return present_ & mask_of(reason); }

  // Whether the heat given is not seen at a probe: not a trip, but a stop.
  bool heat_unseen() const { return heat_unseen_; }

  // Stirred long enough for heat.
  bool stirred(uint32_t now_ms) const;

 private:
  static uint32_t mask_of(wire::TripReason reason) { return 1UL << uint8_t(reason); }
  void row(wire::TripReason reason, bool present, bool complete, uint32_t value, uint32_t limit);
  void lasting(wire::TripReason reason, Lasting& timer, bool present, uint32_t now_ms,
               uint16_t limit_ms);
  void look_for_heat_while_off(const Status& status, uint32_t now_ms);
  void judge_parts(const Sums& sums);
  void judge_probe(wire::TripReason fault_reason, wire::TripReason over_reason, InARow& faulty,
                   InARow& over, uint32_t sum, uint8_t fault, uint32_t limit);
  void judge_disagreement(const Sums& sums, const wire::Limits& limits, uint32_t now_ms);
  void judge_climb(const Status& status, uint16_t limit);
  void judge_quiet_climb(const Elements& elements, uint32_t now_ms);
  void judge_elements(const Sums& sums, const Elements& elements, uint32_t now_ms);

  Cause cause_;
  uint32_t present_ = 0;  // bit per TripReason

  Lasting off_failed_, stop_open_, level_low_, not_turning_, turning_unasked_;
  Lasting mirror_wrong_, live_while_off_;
  Lasting turning_, stirrer_on_, stirrer_off_, heater_off_, elements_off_;
  uint32_t on_ms_at_closing_ = 0;  // heater on-time when the contactor closed
  uint32_t on_ms_at_sense_ = 0;    // heater on-time when heater_live was last seen
  bool fed_while_off_ = false;     // current through a station that is off, in the last tick
  bool layered_ = true;            // the bath stood still long enough to part into layers

  InARow parts_wrong_, reference_off_;
  InARow bath_faulty_, bath_over_, guard_faulty_, guard_over_, disagree_;
  Pace pace_;
  FastClimb fast_climb_;
  SlowClimb slow_climb_;
  Unseen unseen_;
  bool heat_unseen_ = false;
  uint16_t believed_bath_sum_ = 0;   // latest plausible one; 0 before the first
  uint16_t believed_guard_sum_ = 0;  // the same
};
