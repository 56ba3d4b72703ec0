// One tick of measurement: the sums of four scans of every channel, 25 ms apart.
// Four scans meet hum of 50 Hz a quarter cycle apart and of 60 Hz half a cycle: it cancels.

#pragma once
#include <stdint.h>

#include "board.h"
#include "line.h"
#include "rtd.h"

constexpr uint8_t scan_ms = wire::tick_ms / wire::scans_per_tick;

struct Sums {
  uint32_t bath = 0, guard = 0;
  uint8_t bath_fault = 0, guard_fault = 0;
  uint8_t parts_wrong = 0;     // bit per board::Chip that lost or contradicts its registers
  uint16_t reference[board::adcs] = {};  // codes of the ADCs' reference channels, of one scan
  uint16_t lift[board::stations] = {};
  uint16_t current[board::stations] = {};
  uint16_t voltage[board::stations] = {};
};

// Adds one scan; waiting bytes are drained between the channels.
void scan_add(Sums& sums, LineBuffer& line);

// Reads back what the parts hold and their reference channels; once a tick, after its scans.
void scan_parts(Sums& sums);

// Lets the converters of the probes look for broken leads until the next scan, which begins with
// the end of that look and reads conversions up to 0.1 s old.
void scan_begin_leads();
void scan_end_leads();
