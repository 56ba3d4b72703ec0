// Every channel once, added to the tick's sums.

#include "scan.h"

#include "converter.h"

namespace {

constexpr uint8_t bytes_between_channels = 64;  // 16 come meanwhile

void add_probe(board::Chip chip, uint32_t& sum, uint8_t& fault) {
  const RtdReading reading = rtd_read(chip);
  sum += reading.code;
  fault |= reading.fault;
}

void read_back(board::Chip chip, uint8_t fault, uint8_t& wrong) {
  const bool kept = rtd_thresholds_kept(chip);
  if (!kept) rtd_configure(chip);
  if (!kept || fault & rtd_fault_converter) wrong |= uint8_t(1 << uint8_t(chip));
}

}  // namespace

void scan_add(Sums& sums, LineBuffer& line) {
  add_probe(board::Chip::bath_rtd, sums.bath, sums.bath_fault);
  add_probe(board::Chip::guard_rtd, sums.guard, sums.guard_fault);
  for (uint8_t s = 0; s < board::stations; ++s) {
    uint16_t bytes = bytes_between_channels;
    line.drain(bytes);
    sums.lift[s] += adc_read(board::Chip::lift_adc, s);
    sums.current[s] += adc_read(board::Chip::current_adc, s);
    sums.voltage[s] += adc_read(board::Chip::voltage_adc, s);
  }
}

// The DAC and the ADCs have nothing to read back. The DAC shows in the current of each station, at
// rest and at its set-point (guard.cpp, elements.cpp).
void scan_parts(Sums& sums) {
  read_back(board::Chip::bath_rtd, sums.bath_fault, sums.parts_wrong);
  read_back(board::Chip::guard_rtd, sums.guard_fault, sums.parts_wrong);
  for (uint8_t i = 0; i < board::adcs; ++i)
    sums.reference[i] =
        adc_read(board::Chip(uint8_t(board::Chip::lift_adc) + i), board::reference_channel);
}

void scan_begin_leads() {
  rtd_begin_cycle(board::Chip::bath_rtd);
  rtd_begin_cycle(board::Chip::guard_rtd);
}

void scan_end_leads() {
  rtd_end_cycle(board::Chip::bath_rtd);
  rtd_end_cycle(board::Chip::guard_rtd);
}
