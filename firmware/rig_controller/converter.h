// Drivers of the station channels: 8-channel 12-bit ADCs in, octal 12-bit DAC out.

#pragma once
#include <stdint.h>

#include "board.h"

// One single-ended conversion, 0..4095.
uint16_t adc_read(board::Chip chip, uint8_t channel);

// Sets one output, 0..4095; the DAC's update pin is tied so that it acts at once.
void dac_write(uint8_t channel, uint16_t code);
