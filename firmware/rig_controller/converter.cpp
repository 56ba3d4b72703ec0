// Byte frames of the station channels.

#include "converter.h"

uint16_t adc_read(board::Chip chip, uint8_t channel) {
  constexpr uint8_t start_single_ended = 0x06;
  board::select(chip);
  board::transfer(start_single_ended | channel >> 2);
  const uint8_t high = board::transfer(uint8_t(channel << 6));
  const uint8_t low = board::transfer(0);
  board::release();
  return uint16_t(high & 0x0F) << 8 | low;
}

void dac_write(uint8_t channel, uint16_t code) {
  board::select(board::Chip::element_dac);
  board::transfer(uint8_t(channel << 4 | code >> 8));
  board::transfer(uint8_t(code));
  board::release();
}
