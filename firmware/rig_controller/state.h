// Changes of state and what they do to the outputs: TRIPPED, READY, LIVE.

#pragma once
#include "controller.h"

// Writes the outputs that state and demand ask for.
void state_drive(Controller& c);

// Latches a cause; everything off at once. The first one stays, but for heat that goes on with
// everything off: that replaces all but what the controller found wrong in itself.
void state_trip(Controller& c, const Cause& cause, uint32_t now_ms);

// TRIPPED to READY.
void state_clear(Controller& c);

// The demand just taken begins or prolongs LIVE.
void state_live(Controller& c, uint32_t now_ms);

// Feeds the elements as the last demand says: in LIVE, in a bath that is stirred.
void state_feed(Controller& c, uint32_t now_ms);

// LIVE to READY: heater and elements off at once, the contactor 1 s later.
void state_release(Controller& c, wire::StopReason reason, uint32_t now_ms);

// As a release; further demands are refused until limits are written anew.
void state_stop(Controller& c, uint32_t now_ms);

// Ends an old lease and opens the contactor when its second is over.
void state_pass(Controller& c, uint32_t now_ms);
