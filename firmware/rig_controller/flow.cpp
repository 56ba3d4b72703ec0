// A pass skips what belongs to a scan when none is due, and what ends a tick until its last scan.

#include "flow.h"

bool Flow::in_order(Duty duty) const {
  if (duty != Duty::drive) return duty == next_ && (duty != Duty::guard || tick_is_measured());
  return next_ == Duty::drive || next_ == Duty::scan ||
         (next_ == Duty::guard && !tick_is_measured());
}

void Flow::done(Duty duty) {
  if (!in_order(duty)) {
    if (!broken_) found_ = duty;
    if (!broken_) awaited_ = next_;
    broken_ = tick_broken_ = true;
  }
  if (duty == Duty::scan && scans_ < 255) ++scans_;
  if (duty == Duty::report) {
    tick_ = !tick_broken_;
    tick_broken_ = false;
    scans_ = 0;
  }
  next_ = duty == Duty::send ? Duty::look : Duty(uint8_t(duty) + 1);
}

bool Flow::take_tick() {
  const bool tick = tick_;
  tick_ = false;
  return tick;
}

bool Flow::take_broken() {
  const bool broken = broken_;
  broken_ = false;
  return broken;
}
