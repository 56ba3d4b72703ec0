// The only code that moves between states and that drives the outputs.

#include "state.h"

#include "board.h"

namespace {

constexpr uint16_t contactor_delay_ms = 1000;  // spares its contacts: the current is gone by then

using wire::TripReason;

// While one of these stands, nothing else that the controller finds can be believed.
bool of_self_test(uint8_t reason) {
  switch (TripReason(reason)) {
    case TripReason::program_memory:
    case TripReason::part_read_back:
    case TripReason::reference_channel:
    case TripReason::stack_overrun:
    case TripReason::program_flow:
    case TripReason::clocks_disagree: return true;
    default: return false;
  }
}

bool replaces(TripReason reason, uint8_t latched) {
  return reason == TripReason::off_failed && latched != uint8_t(reason) && !of_self_test(latched);
}

void everything_off(Controller& c, uint32_t now_ms) {
  c.heat = false;
  c.duty = 0;
  c.elements.all_off(now_ms);
}

}  // namespace

void state_drive(Controller& c) {
  const bool live = c.status.live();
  const uint8_t switches = c.elements.switches();
  uint8_t outputs = 0;
  if (c.contactor) outputs |= uint8_t(wire::Output::contactor);
  if (live && c.heat) outputs |= uint8_t(wire::Output::heater);
  if (live && switches) outputs |= uint8_t(wire::Output::element_feed);
  if (live && c.demand.stirrer) outputs |= uint8_t(wire::Output::stirrer);
  if (live && c.demand.cooling) outputs |= uint8_t(wire::Output::cooling);
  if (c.guard.stands(TripReason::off_failed)) outputs |= uint8_t(wire::Output::horn);
  c.status.outputs = outputs;
  board::drive(outputs);
  board::switch_stations(live ? switches : 0);
}

void state_trip(Controller& c, const Cause& cause, uint32_t now_ms) {
  if (c.trip.reason && !replaces(cause.reason, c.trip.reason)) return;
  c.status.state = wire::State::tripped;
  c.stop_reason = wire::StopReason::none;
  c.contactor = false;
  c.heat = false;
  state_drive(c);
  everything_off(c, now_ms);

  c.trip.value = cause.value;
  c.trip.limit = cause.limit;
  c.trip.reason = uint8_t(cause.reason);
  ++c.trip.number;
  c.memory.store(Item::trip);
  c.pending |= pending_trip;
}

void state_clear(Controller& c) {
  c.trip.reason = uint8_t(TripReason::none);
  c.memory.store(Item::trip);
  c.status.state = wire::State::ready;
}

void state_live(Controller& c, uint32_t now_ms) {
  if (!c.status.live()) {
    c.elements.begin_live();
    c.bath_ceiling_sum = 0xFFFFFFFF;
    if (!c.contactor) c.guard.contactor_closes(c.status);
  }
  c.stop_reason = wire::StopReason::none;
  c.status.state = wire::State::live;
  c.contactor = true;
  c.demand_ms = now_ms;
  state_feed(c, now_ms);
}

void state_feed(Controller& c, uint32_t now_ms) {
  if (c.status.live() && c.guard.stirred(now_ms)) c.elements.set(c.demand.element_code, now_ms);
  else c.elements.all_off(now_ms);
}

void state_release(Controller& c, wire::StopReason reason, uint32_t now_ms) {
  if (!c.status.live()) return;
  c.stop_reason = reason;
  c.status.state = wire::State::ready;
  c.contactor_opens_ms = now_ms + contactor_delay_ms;
  state_drive(c);
  everything_off(c, now_ms);
}

void state_stop(Controller& c, uint32_t now_ms) {
  state_release(c, wire::StopReason::heat_unseen, now_ms);
  c.heat_stopped = true;
}

void state_pass(Controller& c, uint32_t now_ms) {
  if (c.status.live() && reached(now_ms, c.demand_ms + c.demand.lease_ms))
    state_release(c, wire::StopReason::lease_over, now_ms);
  if (!c.status.live() && c.contactor && reached(now_ms, c.contactor_opens_ms)) c.contactor = false;
}
