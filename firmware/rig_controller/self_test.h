// The controller's look at itself: program memory and clocks at boot, the stack in each tick.
// What it looks for is what IEC 60730-1 Annex H lists for software of class B (from memory);
// no conformity is claimed. Parts and reference channels are read in scan.h and judged in guard.h,
// the order of the duties in flow.h.

#pragma once
#include "status.h"

// First of program memory and clocks that is not as it should be; takes some 100 ms.
Cause boot_test();

// Marks the end of the stack's room.
void stack_guard_paint();

// Bytes of the mark that were overwritten.
uint8_t stack_guard_spoiled();
