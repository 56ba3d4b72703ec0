// What the controller says: its sample each tick, and its answers, one line after the other.

#pragma once
#include "controller.h"

constexpr uint16_t firmware_version = 1;  // major * 100 + minor

// Fills c.sample with the tick just measured.
void report_sample(Controller& c, uint32_t device_ms);

// Sends on what is being sent and begins the next pending line.
void report_send(Controller& c);
