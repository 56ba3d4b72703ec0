// The parts on the controller's SPI bus, byte for byte: two RTD converters, three ADCs, a DAC.
// They turn the plant's signals into what the real parts would answer, over wires that may be
// broken or stuck.

#pragma once
#include <stdint.h>

#include "../rig_controller/board.h"
#include "plant.h"

namespace devices {

// Eight registers; a read or write goes on to the next register until the frame ends.
class RtdConverter {
 public:
  void select() { at_ = address_awaited; }
  uint8_t transfer(uint8_t in, double probe_ohm, const plant::Leads& leads);

  // As a disturbance does: the register holds this until it is written, or for good.
  void spoil(uint8_t address, uint8_t value, bool for_good);

 private:
  static constexpr uint8_t address_awaited = 0xFF;
  uint8_t read(uint8_t address, double probe_ohm, const plant::Leads& leads);
  void write(uint8_t address, uint8_t value, double probe_ohm, const plant::Leads& leads);
  void convert(double probe_ohm, const plant::Leads& leads);
  void look_for_faults(double probe_ohm, const plant::Leads& leads);
  uint16_t pair(uint8_t address) const {
    return uint16_t(registers_[address] << 8 | registers_[address + 1]);
  }

  // As after power-on: off, widest thresholds.
  uint8_t registers_[8] = {0, 0, 0, 0xFF, 0xFF, 0, 0, 0};
  uint8_t stuck_ = 0;  // bit per register that takes nothing
  uint8_t at_ = address_awaited;
  bool writing_ = false;
};

// 12-bit converter of eight channels: start bit, single-ended bit, three channel bits, answer.
// The last channel carries the reference.
class Adc {
 public:
  void select() { count_ = 0; }
  uint8_t transfer(uint8_t in, const double* ratio, double reference_ratio);

 private:
  uint8_t count_ = 0, first_ = 0;
  uint16_t code_ = 0;
};

// Octal 12-bit DAC: a zero bit, three channel bits, twelve data bits; acts when deselected.
class Dac {
 public:
  void select() { count_ = 0; }
  void transfer(uint8_t in);
  void release(uint16_t* code);

 private:
  uint8_t count_ = 0;
  uint16_t frame_ = 0;
};

// All of them on one bus, behind a decoder of three select lines: the number on its lines is the
// board::Chip whose select goes low. Numbers without a chip, and a line nobody drives, read as ones.
class Bus {
 public:
  // The number the controller puts on the select lines; what a chip does when it is deselected
  // acts on the drive.
  void select(uint8_t number, const plant::BusFaults& faults, plant::Drive& drive);
  uint8_t transfer(uint8_t in, const plant::Signals& signals);

  RtdConverter& rtd(board::Chip chip) { return rtd_[uint8_t(chip)]; }

 private:
  uint8_t answer(uint8_t in, const plant::Signals& signals);

  RtdConverter rtd_[2];
  Adc adc_[3];
  Dac dac_;
  uint8_t chip_ = 7;  // that of the decoder's outputs which is low
};

}  // namespace devices
