// The element channels: set-points, station switches, and what is guarded at each station.
// A fault here costs one station: its element stays off until the next LIVE begins.

#pragma once
#include <stdint.h>

#include "board.h"
#include "guard_levels.h"
#include "hot_core.h"
#include "scales.h"
#include "scan.h"
#include "timer.h"

constexpr uint16_t element_judged_sum = sum_of_ma(level::element_judged_ma);

class Elements {
 public:
  // Forgets the flags of the LIVE before.
  void begin_live();

  // Takes set-points and sends them to the DAC, in each tick: that also mends what a disturbance
  // may have changed there. A flagged station stays off.
  void set(const uint16_t* code, uint32_t now_ms);
  void all_off(uint32_t now_ms);

  // Looks at one tick; true when a unit has just gone over its stroke.
  bool judge(const Sums& sums, const wire::Limits& limits, uint32_t now_ms);

  // Bit per station that is switched on.
  uint8_t switches() const;
  uint8_t flags(uint8_t station) const { return stations_[station].flags; }

  // Off long enough for its current to have died.
  bool settled_off(uint8_t station, uint32_t now_ms) const;

 private:
  struct Station {
    uint16_t code = 0;         // set-point in force, 0 = switched off
    uint16_t settled_code = 0; // set-point at the last change worth waiting for
    uint32_t changed_ms = 0;
    uint8_t flags = 0;
    Lasting on;
    InARow over, open, shorted;
    Lasting outside, over_stroke;
    HotCore core;
  };

  void refresh() const;
  void set_one(Station& station, uint16_t code, uint32_t now_ms);
  uint8_t judge_element(Station& station, uint16_t current, uint16_t voltage, uint32_t now_ms);

  Station stations_[board::stations];
};
