// Driver of the two RTD converters (eight registers, continuous 50 Hz conversions, 4-wire Pt100).

#pragma once
#include <stdint.h>

#include "board.h"
#include "guard_levels.h"
#include "scales.h"

// Plausible probe sums.
constexpr uint32_t probe_low_sum = sum_at_mc(level::probe_lowest_mc);
constexpr uint32_t probe_high_sum = sum_at_mc(level::probe_highest_mc);

// The converter's fault register, whose lowest bit is unused, takes this one from the driver:
// the converter had lost its configuration or contradicts itself, so its code may be old.
constexpr uint8_t rtd_fault_converter = 1;

// Its bit for a probe through which no current flows, which only a cycle finds.
constexpr uint8_t rtd_fault_no_current = 0x20;

struct RtdReading {
  uint16_t code;  // 15-bit ratio of probe to reference resistor
  uint8_t fault;  // fault register, 0 when the code can be believed
};

void rtd_configure(board::Chip chip);

// Whether the fault thresholds stand in the converter as rtd_configure() wrote them; no two
// converters have the same.
bool rtd_thresholds_kept(board::Chip chip);

// Latest conversion; clears faults and restores a lost configuration for the next one.
RtdReading rtd_read(board::Chip chip);

// Stops the conversions and lets the converter look for broken leads, which takes it less than a
// scan; rtd_end_cycle() starts them again, and the next reading carries what was found.
void rtd_begin_cycle(board::Chip chip);
void rtd_end_cycle(board::Chip chip);
