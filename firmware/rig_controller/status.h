// What every duty may look at: the state, the pins as read and as driven, the heater's on-time;
// and what a duty says that finds a cause to trip.

#pragma once
#include <stdint.h>

#include "wire.h"

struct Cause {
  wire::TripReason reason = wire::TripReason::none;
  uint32_t value = 0, limit = 0;  // in the same unit
};

struct Status {
  wire::State state = wire::State::tripped;
  uint8_t inputs = 0;   // wire::Input bits of this loop pass
  uint8_t outputs = 0;  // wire::Output bits as driven
  uint32_t heater_on_ms = 0;

  bool live() const { return state == wire::State::live; }
  bool in(wire::Input bit) const { return inputs & uint8_t(bit); }
  bool out(wire::Output bit) const { return outputs & uint8_t(bit); }
};
