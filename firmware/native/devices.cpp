// What each part answers to each byte, as its kind usually does.

#include "devices.h"

namespace devices {

namespace {

constexpr double reference_ohm = 400.0;
constexpr uint8_t converting = 0xC0;  // bias on and continuous
constexpr uint8_t clear_faults = 0x02;
constexpr uint8_t above_high = 0x80, below_low = 0x40;

constexpr uint8_t configuration = 0, code_high = 1, code_low = 2, threshold_high = 3,
                  threshold_low = 5, fault = 7;

}  // namespace

void RtdConverter::convert(double probe_ohm) {
  if ((registers_[configuration] & converting) != converting) return;
  const double ratio = probe_ohm * (32768.0 / reference_ohm);
  const uint16_t code = ratio <= 0.0 ? 0 : ratio >= 32767.0 ? 32767 : uint16_t(ratio + 0.5);
  const uint16_t shifted = uint16_t(code << 1);
  if (shifted >= (pair(threshold_high) & 0xFFFE)) registers_[fault] |= above_high;
  if (shifted <= (pair(threshold_low) & 0xFFFE)) registers_[fault] |= below_low;
  registers_[code_high] = uint8_t(shifted >> 8);
  registers_[code_low] = uint8_t(shifted | (registers_[fault] != 0));
}

uint8_t RtdConverter::read(uint8_t address, double probe_ohm) {
  if (address == code_high) convert(probe_ohm);
  return registers_[address];
}

void RtdConverter::write(uint8_t address, uint8_t value) {
  if (address == code_high || address == code_low || address == fault) return;
  if (stuck_ >> address & 1) return;
  registers_[address] = value;
  if (address == configuration && value & clear_faults) {
    registers_[configuration] &= uint8_t(~clear_faults);
    registers_[fault] = 0;
  }
}

void RtdConverter::spoil(uint8_t address, uint8_t value, bool for_good) {
  registers_[address & 7] = value;
  if (for_good) stuck_ |= uint8_t(1 << (address & 7));
}

uint8_t RtdConverter::transfer(uint8_t in, double probe_ohm) {
  if (at_ == address_awaited) {
    writing_ = in & 0x80;
    at_ = in & 7;
    return 0xFF;
  }
  uint8_t out = 0xFF;
  if (writing_) write(at_, in);
  else out = read(at_, probe_ohm);
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

void Bus::select(board::Chip chip) {
  chip_ = uint8_t(chip);
  if (chip_ < 2) rtd_[chip_].select();
  else if (chip_ < 5) adc_[chip_ - 2].select();
  else dac_.select();
}

void Bus::release(plant::Drive& drive) {
  if (chip_ == uint8_t(board::Chip::element_dac)) dac_.release(drive.element_code);
  chip_ = nobody;
}

uint8_t Bus::transfer(uint8_t in, const plant::Signals& signals) {
  switch (chip_) {
    case 0:
    case 1: return rtd_[chip_].transfer(in, signals.probe_ohm[chip_]);
    case 2: return adc_[0].transfer(in, signals.gauge_ratio, signals.reference_ratio[0]);
    case 3: return adc_[1].transfer(in, signals.current_ratio, signals.reference_ratio[1]);
    case 4: return adc_[2].transfer(in, signals.voltage_ratio, signals.reference_ratio[2]);
    case 5: dac_.transfer(in); return 0xFF;
    default: return 0xFF;
  }
}

}  // namespace devices
