// Register frames of the RTD converters.

#include "rtd.h"

namespace {

constexpr uint8_t write_bit = 0x80;
constexpr uint8_t register_configuration = 0;  // followed by the code's two bytes
constexpr uint8_t register_thresholds = 3;     // high, low, two bytes each
constexpr uint8_t register_fault = 7;

constexpr uint8_t configuration = 0xC1;  // bias on, continuous, 4-wire, 50 Hz filter
constexpr uint8_t clear_faults = 0x02;
constexpr uint8_t fault_cycle = 0x85;  // bias on, at rest, a cycle by itself, 4-wire, 50 Hz filter

// Thresholds stand in the registers as the codes do: shifted one bit to the left.
constexpr uint16_t threshold(uint32_t sum) { return uint16_t(sum / wire::scans_per_tick << 1); }
constexpr uint16_t high_threshold = threshold(probe_high_sum);
constexpr uint16_t bath_low_threshold = threshold(probe_low_sum);
constexpr uint16_t guard_low_threshold = threshold(sum_at_mc(level::guard_threshold_mc));

uint16_t low_threshold(board::Chip chip) {
  return chip == board::Chip::bath_rtd ? bath_low_threshold : guard_low_threshold;
}

void write_configuration(board::Chip chip, uint8_t value) {
  board::select(chip);
  board::transfer(write_bit | register_configuration);
  board::transfer(value);
  board::release();
}

uint8_t read_fault(board::Chip chip) {
  board::select(chip);
  board::transfer(register_fault);
  const uint8_t fault = board::transfer(0);
  board::release();
  return fault;
}

}  // namespace

void rtd_configure(board::Chip chip) {
  const uint16_t low = low_threshold(chip);
  board::select(chip);
  board::transfer(write_bit | register_thresholds);
  board::transfer(high_threshold >> 8);
  board::transfer(high_threshold & 0xFF);
  board::transfer(low >> 8);
  board::transfer(low & 0xFF);
  board::release();
  write_configuration(chip, configuration | clear_faults);
}

bool rtd_thresholds_kept(board::Chip chip) {
  board::select(chip);
  board::transfer(register_thresholds);
  bool kept = true;
  const uint16_t thresholds[] = {high_threshold, low_threshold(chip)};
  for (uint16_t threshold : thresholds) {
    kept &= board::transfer(0) == threshold >> 8;
    kept &= board::transfer(0) == (threshold & 0xFF);
  }
  board::release();
  return kept;
}

RtdReading rtd_read(board::Chip chip) {
  board::select(chip);
  board::transfer(register_configuration);
  const uint8_t found = board::transfer(0);
  const uint8_t high = board::transfer(0);
  const uint8_t low = board::transfer(0);
  board::release();

  RtdReading reading = {uint16_t((uint16_t(high) << 8 | low) >> 1), 0};
  if (found != configuration) {
    reading.fault = rtd_fault_converter;
    rtd_configure(chip);
  } else if (low & 1) {
    const uint8_t fault = read_fault(chip);
    reading.fault = fault ? fault : rtd_fault_converter;
    write_configuration(chip, configuration | clear_faults);
  }
  return reading;
}

void rtd_begin_cycle(board::Chip chip) { write_configuration(chip, fault_cycle); }

void rtd_end_cycle(board::Chip chip) { write_configuration(chip, configuration); }
