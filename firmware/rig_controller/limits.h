// Which limits a host may set: none beyond the board's ceilings.

#pragma once
#include "wire.h"

// True when every field is within the ceilings of board.h.
bool limits_allowed(const wire::Limits& limits);

// The ceilings themselves: guarded while no others are in force.
wire::Limits limits_greatest();
