// Boot, and the pass: look, lease, receive, scan, burn, send.

#include "controller.h"

#include <stddef.h>

#include "board.h"
#include "command.h"
#include "report.h"
#include "state.h"

namespace {

using wire::BootCause;
using wire::TripReason;

static_assert(offsetof(TripRecord, reason) + 1 == item_size[uint8_t(Item::trip)],
              "EEPROM holds the trip without padding");
static_assert(offsetof(wire::Limits, over_stroke_sum) + sizeof wire::Limits::over_stroke_sum ==
                  item_size[uint8_t(Item::limits)],
              "EEPROM holds the limits without padding");
static_assert(sizeof(Controller) < 1200 || board::kind == wire::Board::native,
              "the smallest board has 2 KB of RAM");

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

void scan(Controller& c) {
  if (c.scans == 0) c.sums = Sums();
  scan_add(c.sums, c.received);
  ++c.scans;
}

bool heat_allowed(const Controller& c, uint32_t now_ms) {
  return c.status.live() && c.guard.stirred(now_ms) && c.sums.bath < c.bath_ceiling_sum;
}

void tick(Controller& c, uint32_t now_ms) {
  c.scans = 0;
  c.guard.judge(c.status, c.sums, c.limits, c.elements, now_ms);
  const Cause cause = c.guard.take_cause();
  if (cause.reason != TripReason::none) state_trip(c, cause, now_ms);

  const bool over_stroke = c.elements.judge(c.sums, c.limits, now_ms);
  if (over_stroke && c.sums.bath < c.bath_ceiling_sum) c.bath_ceiling_sum = c.sums.bath;
  c.elements.refresh();

  c.duty = heat_allowed(c, now_ms) ? c.demand.duty : 0;
  c.heat = c.heater.decide(c.duty);
  state_drive(c);
  report_sample(c, now_ms);
  board::feed_watchdog();
}

// A pass that comes late does not hurry the next scans.
void scan_when_due(Controller& c, uint32_t now_ms) {
  if (!reached(now_ms, c.scan_due_ms)) return;
  const uint32_t due_ms = c.scan_due_ms;
  c.scan_due_ms += scan_ms;
  if (reached(now_ms, c.scan_due_ms)) c.scan_due_ms = now_ms + scan_ms;
  scan(c);
  if (c.scans == wire::scans_per_tick) tick(c, due_ms);
}

void look(Controller& c, uint32_t now_ms) {
  if (c.status.out(wire::Output::heater)) c.status.heater_on_ms += now_ms - c.pass_ms;
  c.pass_ms = now_ms;
  c.status.inputs = board::inputs();
  c.guard.look(c.status, now_ms);
  const Cause cause = c.guard.take_cause();
  if (cause.reason != TripReason::none) state_trip(c, cause, now_ms);
}

void receive(Controller& c, uint32_t now_ms) {
  c.received.drain();
  while (c.received.complete() && !(c.pending & pending_replies)) {
    command_handle(c, now_ms);
    c.received.clear();
    c.received.drain();
    report_send(c);
  }
  c.malformed_count = (c.malformed_count + c.received.take_dropped()) % 1000;
}

}  // namespace

void controller_boot(Controller& c, BootCause cause, uint32_t now_ms) {
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

  if (c.trip.reason == uint8_t(TripReason::none)) {
    const Cause boot = {boot_trip(c, trip_record), 0, 0};
    if (boot.reason == TripReason::none) c.status.state = wire::State::ready;
    else state_trip(c, boot, now_ms);
  }
  remember(c);
  c.pass_ms = now_ms;
  c.scan_due_ms = now_ms + scan_ms;
}

void controller_pass(Controller& c, uint32_t now_ms) {
  look(c, now_ms);
  state_pass(c, now_ms);
  receive(c, now_ms);
  scan_when_due(c, now_ms);
  state_drive(c);
  c.memory.poll();
  report_send(c);
}
