// Whether the duties of each loop pass, and of each tick, were done, all of them and in order.
// Counts by itself what the loop counts too, so that a spoiled counter or a jump shows.

#pragma once
#include <stdint.h>

#include "wire.h"

// In the order of a pass; the four from `guard` to `report` end a tick.
enum class Duty : uint8_t { look, lease, receive, scan, guard, elements, heat, report, drive, send };

class Flow {
 public:
  // The duty has just been done.
  void done(Duty duty);

  // Whether a whole tick was done in order since the last call.
  bool take_tick();

  // Whether a duty was left out or came out of order since the last call; which, and in whose place.
  bool take_broken();
  Duty found() const { return found_; }
  Duty awaited() const { return awaited_; }

 private:
  bool in_order(Duty duty) const;
  bool tick_is_measured() const { return scans_ == wire::scans_per_tick; }

  Duty next_ = Duty::look, found_ = Duty::look, awaited_ = Duty::look;
  uint8_t scans_ = 0;
  bool broken_ = false, tick_broken_ = false, tick_ = false;
};
