// Boot, and the pass: look, lease, receive, scan, drive, send; each duty checks in when done.

#include "controller.h"

#include <stddef.h>

#include "board.h"
#include "command.h"
#include "report.h"
#include "self_test.h"
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

void trip_if_caused(Controller& c, uint32_t now_ms) {
  const Cause cause = c.guard.take_cause();
  if (cause.reason != TripReason::none) state_trip(c, cause, now_ms);
}

void scan(Controller& c) {
  if (c.scans == 0) c.sums = Sums();
  scan_add(c.sums, c.received);
  ++c.scans;
  c.flow.done(Duty::scan);
}

bool heat_allowed(const Controller& c, uint32_t now_ms) {
  return c.status.live() && c.guard.stirred(now_ms) && c.sums.bath < c.bath_ceiling_sum;
}

// A function of its own in the binary, which a test can make the processor skip.
[[gnu::noinline]] void judge(Controller& c, uint32_t now_ms) {
  const uint8_t spoiled = stack_guard_spoiled();
  c.guard.own(TripReason::stack_overrun, spoiled != 0, spoiled, 0);
  c.guard.judge(c.status, c.sums, c.limits, c.elements, now_ms);
  trip_if_caused(c, now_ms);
  c.flow.done(Duty::guard);
}

void serve_elements(Controller& c, uint32_t now_ms) {
  const bool over_stroke = c.elements.judge(c.sums, c.limits, now_ms);
  if (over_stroke && c.sums.bath < c.bath_ceiling_sum) c.bath_ceiling_sum = c.sums.bath;
  c.elements.refresh();
  c.flow.done(Duty::elements);
}

void heat(Controller& c, uint32_t now_ms) {
  c.duty = heat_allowed(c, now_ms) ? c.demand.duty : 0;
  c.heat = c.heater.decide(c.duty);
  state_drive(c);
  c.flow.done(Duty::heat);
}

void tick(Controller& c, uint32_t now_ms) {
  c.scans = 0;
  scan_parts(c.sums);
  judge(c, now_ms);
  serve_elements(c, now_ms);
  heat(c, now_ms);
  report_sample(c, now_ms);
  c.flow.done(Duty::report);
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
  trip_if_caused(c, now_ms);
  c.flow.done(Duty::look);
}

void lease(Controller& c, uint32_t now_ms) {
  state_pass(c, now_ms);
  c.flow.done(Duty::lease);
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
  c.flow.done(Duty::receive);
}

void drive(Controller& c) {
  state_drive(c);
  c.flow.done(Duty::drive);
}

void send(Controller& c) {
  c.memory.poll();
  report_send(c);
  c.flow.done(Duty::send);
}

// Only a tick of which every duty was done in order restarts the watchdog.
void judge_flow(Controller& c, uint32_t now_ms) {
  if (c.flow.take_tick()) board::feed_watchdog();
  const bool broken = c.flow.take_broken();
  c.guard.own(TripReason::program_flow, broken, uint8_t(c.flow.found()),
              uint8_t(c.flow.awaited()));
  trip_if_caused(c, now_ms);
}

// Why this boot trips, if it does. What the controller found wrong in itself replaces an older
// trip: it stands for as long as the processor runs, and nothing else can be believed.
void latch_boot(Controller& c, Found trip_record, const Cause& tested, uint32_t now_ms) {
  c.guard.own(tested.reason, tested.reason != TripReason::none, tested.value, tested.limit);
  const uint8_t stored = c.trip.reason;
  if (tested.reason != TripReason::none && stored != uint8_t(tested.reason))
    c.trip.reason = uint8_t(TripReason::none);
  trip_if_caused(c, now_ms);
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

void controller_pass(Controller& c, uint32_t now_ms) {
  look(c, now_ms);
  lease(c, now_ms);
  receive(c, now_ms);
  scan_when_due(c, now_ms);
  drive(c);
  send(c);
  judge_flow(c, now_ms);
}
