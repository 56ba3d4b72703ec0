// What a line from the host does, and why it may be refused.

#pragma once
#include "controller.h"

// Handles the complete line in c.received.
void command_handle(Controller& c, uint32_t now_ms);
