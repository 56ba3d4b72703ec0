// From the units of guard_levels.h to what the converters count, worked out by the compiler.
// A probe's sum is four 15-bit codes of a Pt100 (IEC 60751) against the reference resistor; sums of
// the ADCs are four 12-bit codes.

#pragma once
#include <stdint.h>

#include "board.h"
#include "wire.h"

// R = 100 ohm (1 + A t + B t2) with A = 3.9083e-3, B = -5.775e-7; below 0 degC the standard's last
// term is left out: 0.0004 ohm at -20 degC.
constexpr uint32_t sum_at_mc(int64_t mc) {
  const int64_t ratio_e16 = 10000000000000000 + 39083000000 * mc - 5775 * mc * mc;
  const int64_t counts_per_ratio = 100LL * wire::scans_per_tick * 32768;
  const int64_t scale = 100000000000LL * board::reference_ohm;
  return uint32_t((ratio_e16 / 100000 * counts_per_ratio + scale / 2) / scale);
}

// A difference of temperatures: near 57 degC, 126 counts a kelvin at 400 ohm.
constexpr uint32_t sum_of_mk(uint32_t mk) {
  return (mk * (126UL * 400) / board::reference_ohm + 500) / 1000;
}

// Set-points: 0.5 mA a code. Sums of element currents: 0.125 mA a count.
constexpr uint16_t code_of_ma(uint16_t ma) { return ma * 2; }
constexpr uint16_t sum_of_ma(uint16_t ma) { return code_of_ma(ma) * wire::scans_per_tick; }
