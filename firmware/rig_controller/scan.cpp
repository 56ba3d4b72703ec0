// Every channel once, added to the tick's sums.

#include "scan.h"

#include "converter.h"

namespace {

void add_probe(board::Chip chip, uint32_t& sum, uint8_t& fault) {
  const RtdReading reading = rtd_read(chip);
  sum += reading.code;
  fault |= reading.fault;
}

}  // namespace

void scan_add(Sums& sums, LineBuffer& line) {
  add_probe(board::Chip::bath_rtd, sums.bath, sums.bath_fault);
  add_probe(board::Chip::guard_rtd, sums.guard, sums.guard_fault);
  for (uint8_t s = 0; s < board::stations; ++s) {
    line.drain();
    sums.lift[s] += adc_read(board::Chip::lift_adc, s);
    sums.current[s] += adc_read(board::Chip::current_adc, s);
    sums.voltage[s] += adc_read(board::Chip::voltage_adc, s);
  }
}
