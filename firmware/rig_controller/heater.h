// The bath heater's relay: decided once per tick, the duty's remainder carried over.

#pragma once
#include <stdint.h>

#include "wire.h"

class Heater {
 public:
  // Whether the relay is on for the next tick.
  bool decide(uint16_t duty) {
    if (duty == 0) remainder_ = 0;
    remainder_ += duty;
    const bool on = remainder_ >= wire::duty_full;
    if (on) remainder_ -= wire::duty_full;
    return on;
  }

 private:
  uint16_t remainder_ = 0;  // thousandths of a tick still owed
};
