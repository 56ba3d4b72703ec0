// First state after a reset: what is remembered, what was found, and whether it trips.

#include <stddef.h>

#include "board.h"
#include "controller.h"
#include "self_test.h"
#include "state.h"

namespace {

using wire::BootCause;
using wire::TripReason;

static_assert(offsetof(TripRecord, reason) + 1 == item_size[uint8_t(Item::trip)],
              "EEPROM holds the trip without padding");
static_assert(offsetof(wire::Limits, element_per_k) + sizeof wire::Limits::element_per_k ==
                  item_size[uint8_t(Item::limits)],
              "EEPROM holds the limits without padding");

TripReason boot_trip(const Controller& c, Found trip_record) {
  switch (c.boot_cause) {
    case BootCause::power_on: return TripReason::power_on;
    case BootCause::brown_out: return TripReason::brown_out;
    case BootCause::watchdog: return TripReason::watchdog;
    case BootCause::external: break;
    default: return TripReason::unknown_boot;
  }
  if (!c.limits_valid) return TripReason::limits_missing;
  // A spoiled copy is a trip that was being latched, or cleared, when the reset came.
  return trip_record == Found::both_copies ? TripReason::none : TripReason::unknown_boot;
}

// Burns at once what must not be lost to the next reset.
void remember(Controller& c) {
  while (c.memory.busy()) {
    c.memory.poll();
    board::idle();
  }
}

// Why this boot trips, if it does. What the controller found wrong in itself replaces an older
// trip: it stands for as long as the processor runs, and nothing else can be believed.
void latch_boot(Controller& c, Found trip_record, const Cause& tested, uint32_t now_ms) {
  c.guard.own(tested.reason, tested.reason != TripReason::none, tested.value, tested.limit);
  const uint8_t stored = c.trip.reason;
  if (tested.reason != TripReason::none && stored != uint8_t(tested.reason))
    c.trip.reason = uint8_t(TripReason::none);
  const Cause own = c.guard.take_cause();
  if (own.reason != TripReason::none) state_trip(c, own, now_ms);
  if (c.trip.reason) return;
  const Cause boot = {boot_trip(c, trip_record), 0, 0};
  if (boot.reason == TripReason::none) c.status.state = wire::State::ready;
  else state_trip(c, boot, now_ms);
}

}  // namespace

void controller_boot(Controller& c, BootCause cause, const Cause& tested, uint32_t now_ms) {
  stack_guard_paint();
  state_drive(c);
  rtd_configure(board::Chip::bath_rtd);
  rtd_configure(board::Chip::guard_rtd);
  c.elements.all_off(now_ms);
  c.boot_cause = cause;

  const Found trip_record = c.memory.load(Item::trip, &c.trip);
  c.limits_valid = c.memory.load(Item::limits, &c.limits) != Found::nothing &&
                   limits_allowed(c.limits);
  if (!c.limits_valid) c.limits = limits_greatest();
  c.memory.load(Item::serial, &c.serial_number);
  c.memory.load(Item::boot, &c.boot_id);
  ++c.boot_id;
  c.memory.store(Item::boot);

  latch_boot(c, trip_record, tested, now_ms);
  remember(c);
  c.pass_ms = now_ms;
  c.scan_due_ms = now_ms + scan_ms;
}
