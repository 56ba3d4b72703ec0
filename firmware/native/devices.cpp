// What each part answers to each byte, as its kind usually does.

#include "devices.h"

namespace devices {

namespace {

constexpr double reference_ohm = board::reference_ohm;
constexpr uint8_t converting = 0xC0;  // bias on and continuous
constexpr uint8_t biased_at_rest = 0x80;
constexpr uint8_t clear_faults = 0x02;
// The fault-detection cycle: by itself, or in two halves of which the second is asked for.
constexpr uint8_t cycle = 0x0C, cycle_by_itself = 0x04, cycle_first = 0x08;
constexpr uint8_t above_high = 0x80, below_low = 0x40, no_current = 0x20;
constexpr uint16_t full_scale = 32767;
constexpr double bias_share = 0.85;  // of the bias, which the reference's lower end may not pass

constexpr uint8_t configuration = 0, code_high = 1, code_low = 2, threshold_high = 3,
                  threshold_low = 5, fault = 7;

}  // namespace

// Ratio of probe to reference; without a current or with a loose input it means nothing.
void RtdConverter::convert(double probe_ohm, const plant::Leads& leads) {
  if ((registers_[configuration] & converting) != converting) return;
  double ratio = probe_ohm * (32768.0 / reference_ohm);
  if (leads.input_at_bias) ratio = full_scale;
  if (leads.force_open || leads.input_loose) ratio = leads.loose_share * full_scale;
  const uint16_t code = ratio <= 0.0 ? 0 : ratio >= full_scale ? full_scale : uint16_t(ratio + 0.5);
  const uint16_t shifted = uint16_t(code << 1);
  if (shifted >= (pair(threshold_high) & 0xFFFE)) registers_[fault] |= above_high;
  if (shifted <= (pair(threshold_low) & 0xFFFE)) registers_[fault] |= below_low;
  registers_[code_high] = uint8_t(shifted >> 8);
  registers_[code_low] = uint8_t(shifted | (registers_[fault] != 0));
}

// Of a cycle's three comparisons a broken lead or element fails the first: without a current the
// reference's lower end stands at the bias. The other two look for leads that touch ground.
void RtdConverter::look_for_faults(double probe_ohm, const plant::Leads& leads) {
  const double share = leads.force_open ? 1.0 : probe_ohm / (probe_ohm + reference_ohm);
  if (share > bias_share) registers_[fault] |= no_current;
}

uint8_t RtdConverter::read(uint8_t address, double probe_ohm, const plant::Leads& leads) {
  if (address == code_high) convert(probe_ohm, leads);
  return registers_[address];
}

void RtdConverter::write(uint8_t address, uint8_t value, double probe_ohm,
                         const plant::Leads& leads) {
  if (address == code_high || address == code_low || address == fault) return;
  if (stuck_ >> address & 1) return;
  registers_[address] = value;
  if (address != configuration) return;
  if (value & clear_faults) {
    registers_[configuration] &= uint8_t(~clear_faults);
    registers_[fault] = 0;
  }
  const uint8_t asked = value & cycle;
  const bool at_rest = (value & converting) == biased_at_rest;
  if (at_rest && (asked == cycle_by_itself || asked == cycle_first))
    look_for_faults(probe_ohm, leads);
  // The first half waits for the second; all else is over at once.
  if (!at_rest || asked != cycle_first) registers_[configuration] &= uint8_t(~cycle);
}

void RtdConverter::spoil(uint8_t address, uint8_t value, bool for_good) {
  registers_[address & 7] = value;
  if (for_good) stuck_ |= uint8_t(1 << (address & 7));
}

uint8_t RtdConverter::transfer(uint8_t in, double probe_ohm, const plant::Leads& leads) {
  if (at_ == address_awaited) {
    writing_ = in & 0x80;
    at_ = in & 7;
    return 0xFF;
  }
  uint8_t out = 0xFF;
  if (writing_) write(at_, in, probe_ohm, leads);
  else out = read(at_, probe_ohm, leads);
  at_ = (at_ + 1) & 7;
  return out;
}

uint8_t Adc::transfer(uint8_t in, const double* ratio, double reference_ratio) {
  const uint8_t byte = count_++;
  if (byte == 0) {
    first_ = in;
    return 0xFF;
  }
  if (byte > 1) return uint8_t(code_);
  const bool asked = (first_ & 0x06) == 0x06;  // started, single-ended
  const uint8_t channel = uint8_t((first_ & 1) << 2 | in >> 6);
  double share = 0.0;
  if (asked && channel < plant::kStations) share = ratio[channel];
  if (asked && channel == board::reference_channel) share = reference_ratio;
  code_ = share <= 0.0 ? 0 : share >= 1.0 ? 4095 : uint16_t(share * 4095.0 + 0.5);
  return uint8_t(0xE0 | code_ >> 8);
}

void Dac::transfer(uint8_t in) {
  frame_ = uint16_t(frame_ << 8 | in);
  ++count_;
}

void Dac::release(uint16_t* code) {
  const uint8_t channel = (frame_ >> 12) & 7;
  if (count_ == 2 && !(frame_ & 0x8000) && channel < plant::kStations)
    code[channel] = frame_ & 0x0FFF;
}

void Bus::select(uint8_t number, const plant::BusFaults& faults, plant::Drive& drive) {
  const uint8_t chip = uint8_t((number & ~faults.select_low) | faults.select_high);
  if (chip == chip_) return;  // no edge on any select
  if (chip_ == uint8_t(board::Chip::element_dac)) dac_.release(drive.element_code);
  chip_ = chip;
  if (chip_ < 2) rtd_[chip_].select();
  else if (chip_ < 5) adc_[chip_ - 2].select();
  else if (chip_ == 5) dac_.select();
}

inline uint8_t Bus::answer(uint8_t in, const plant::Signals& signals) {
  switch (chip_) {
    case 0:
    case 1: return rtd_[chip_].transfer(in, signals.probe_ohm[chip_], signals.leads[chip_]);
    case 2: return adc_[0].transfer(in, signals.gauge_ratio, signals.reference_ratio[0]);
    case 3: return adc_[1].transfer(in, signals.current_ratio, signals.reference_ratio[1]);
    case 4: return adc_[2].transfer(in, signals.voltage_ratio, signals.reference_ratio[2]);
    case 5: dac_.transfer(in); return 0xFF;
    default: return 0xFF;
  }
}

uint8_t Bus::transfer(uint8_t in, const plant::Signals& signals) {
  const plant::BusFaults& wires = signals.bus;
  if (!wires.any) return answer(in, signals);
  const uint8_t out = wires.clock_dead ? 0xFF : answer(in, signals);
  return wires.miso_low ? 0x00 : wires.miso_high ? 0xFF : out;
}

}  // namespace devices
