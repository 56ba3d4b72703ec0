// The controller whole: all its state, its start, and the one pass its loop repeats.

#pragma once
#include <stdint.h>

#include "elements.h"
#include "flow.h"
#include "guard.h"
#include "heater.h"
#include "limits.h"
#include "line.h"
#include "memory.h"
#include "scan.h"
#include "status.h"

// A latched trip; `reason` none = nothing is latched. In EEPROM as it stands here.
struct TripRecord {
  uint32_t value = 0, limit = 0;
  uint16_t number = 0;  // counts trips
  uint8_t reason = 0;
};

// Messages waiting for the line to be free.
enum Pending : uint8_t {
  pending_trip = 1,
  pending_refused = 2,
  pending_identity = 4,
  pending_limits = 8,
  pending_sample = 16,
  pending_replies = pending_refused | pending_identity | pending_limits
};

struct Controller {
  Status status;
  wire::BootCause boot_cause = wire::BootCause::unknown;

  Memory memory;
  uint16_t boot_id = 0;
  uint32_t serial_number = 0;
  TripRecord trip;
  wire::Limits limits = limits_greatest();
  bool limits_valid = false;

  wire::Demand demand = {};  // last one taken
  uint32_t demand_ms = 0;
  wire::StopReason stop_reason = wire::StopReason::none;  // of the LIVE that ended last
  bool heat_stopped = false;  // heat was not seen: until limits are written anew
  bool contactor = false;
  uint32_t contactor_opens_ms = 0;  // when not live
  bool heat = false;                // relay of this tick
  uint16_t duty = 0;                // in force
  uint32_t bath_ceiling_sum = 0xFFFFFFFF;  // no heat from here on, after an over-stroke

  Guard guard;
  Flow flow;
  Heater heater;
  Elements elements;

  uint32_t pass_ms = 0;  // of the last pass
  uint32_t scan_due_ms = 0;
  uint8_t scans = 0;
  bool leads_looked_at = false;  // until the next scan
  Sums sums;

  LineBuffer received;
  LineWriter sending;
  wire::Sample sample = {};  // latest
  wire::Refused refused = {};
  uint16_t refused_count = 0, malformed_count = 0;
  uint8_t pending = 0;
};

// First state after a reset; `tested` is what boot_test() found.
void controller_boot(Controller& c, wire::BootCause cause, const Cause& tested, uint32_t now_ms);

// One pass of the loop: never waits, and takes long only when a scan is due.
void controller_pass(Controller& c, uint32_t now_ms);
