// The pass: look, lease, receive, scan, drive, send; each duty checks in when done.

#include "controller.h"

#include "board.h"
#include "command.h"
#include "report.h"
#include "self_test.h"
#include "state.h"

namespace {

using wire::TripReason;

static_assert(sizeof(Controller) < 1050 + 60 * board::stations ||
                  board::kind == wire::Board::native,
              "the smallest board has 2 KB of RAM");

void trip_if_caused(Controller& c, uint32_t now_ms) {
  const Cause cause = c.guard.take_cause();
  if (cause.reason != TripReason::none) state_trip(c, cause, now_ms);
}

void scan(Controller& c) {
  if (c.scans == 0) c.sums = Sums();
  if (c.leads_looked_at) scan_end_leads();
  c.leads_looked_at = false;
  scan_add(c.sums, c.received);
  ++c.scans;
  c.flow.done(Duty::scan);
}

// Once a second outside LIVE, where no conversion is missed; and again at once while something is
// found, so that it can last as long as any fault of a probe must.
bool leads_due(const Controller& c) {
  constexpr uint8_t ticks = level::leads_ms / wire::tick_ms;
  if ((c.sums.bath_fault | c.sums.guard_fault) & rtd_fault_no_current) return true;
  return !c.status.live() && c.sample.sequence % ticks == 0;
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
  if (c.guard.heat_unseen() && c.status.live()) state_stop(c, now_ms);
  c.flow.done(Duty::guard);
}

void serve_elements(Controller& c, uint32_t now_ms) {
  const bool over_stroke = c.elements.judge(c.sums, c.limits, now_ms);
  if (over_stroke && c.sums.bath < c.bath_ceiling_sum) c.bath_ceiling_sum = c.sums.bath;
  state_feed(c, now_ms);
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
  c.leads_looked_at = leads_due(c);
  if (c.leads_looked_at) scan_begin_leads();
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
  uint16_t bytes = board::bytes_a_pass;
  c.received.drain(bytes);
  while (c.received.complete() && !(c.pending & pending_replies)) {
    command_handle(c, now_ms);
    c.received.clear();
    c.received.drain(bytes);
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

}  // namespace

void controller_pass(Controller& c, uint32_t now_ms) {
  look(c, now_ms);
  lease(c, now_ms);
  receive(c, now_ms);
  scan_when_due(c, now_ms);
  drive(c);
  send(c);
  judge_flow(c, now_ms);
}
