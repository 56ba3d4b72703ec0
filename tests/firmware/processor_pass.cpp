// What the header of the board says to the compiler of a processor, for cases that run natively.

#define __AVR_ATmega2560__ 1
#include "../../firmware/rig_controller/board.h"

uint16_t processor_bytes_a_pass() { return board::bytes_a_pass; }
