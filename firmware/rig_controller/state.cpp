// The only code that moves between states and that drives the outputs.

#include "state.h"

#include "board.h"

namespace {

constexpr uint16_t contactor_delay_ms = 1000;  // spares its contacts: the current is gone by then

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
  c.status.outputs = outputs;
  board::drive(outputs);
  board::switch_stations(live ? switches : 0);
}

void state_trip(Controller& c, const Cause& cause, uint32_t now_ms) {
  if (c.trip.reason) return;
  c.status.state = wire::State::tripped;
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
  c.trip.reason = uint8_t(wire::TripReason::none);
  c.memory.store(Item::trip);
  c.status.state = wire::State::ready;
}

void state_live(Controller& c, uint32_t now_ms) {
  if (!c.status.live()) {
    c.elements.begin_live();
    c.bath_ceiling_sum = 0xFFFFFFFF;
    if (!c.contactor) c.guard.contactor_closes(c.status);
  }
  c.status.state = wire::State::live;
  c.contactor = true;
  c.demand_ms = now_ms;
  c.elements.set(c.demand.element_code, now_ms);
}

void state_release(Controller& c, uint32_t now_ms) {
  if (!c.status.live()) return;
  c.status.state = wire::State::ready;
  c.contactor_opens_ms = now_ms + contactor_delay_ms;
  state_drive(c);
  everything_off(c, now_ms);
}

void state_pass(Controller& c, uint32_t now_ms) {
  if (c.status.live() && reached(now_ms, c.demand_ms + c.demand.lease_ms)) state_release(c, now_ms);
  if (!c.status.live() && c.contactor && reached(now_ms, c.contactor_opens_ms)) c.contactor = false;
}
