// Fills the outgoing messages and sends one line at a time.

#include "report.h"

#include <string.h>

#include "board.h"

namespace {

wire::Identity identity(const Controller& c) {
  wire::Identity m = {};
  m.protocol = wire::protocol;
  m.firmware = firmware_version;
  m.board = uint8_t(board::kind);
  m.stations = board::stations;
  m.reference_ohm = board::reference_ohm;
  m.boot_id = c.boot_id;
  m.boot_cause = uint8_t(c.boot_cause);
  m.serial_number = c.serial_number;
  m.state = uint8_t(c.status.state);
  m.trip_number = c.trip.number;
  m.trip_reason = c.trip.reason;
  m.trip_value = c.trip.value;
  m.trip_limit = c.trip.limit;
  return m;
}

wire::LimitsInForce limits_in_force(const Controller& c) {
  wire::LimitsInForce m = {};
  m.valid = c.limits_valid;
  m.bath_limit_sum = c.limits.bath_limit_sum;
  m.guard_limit_sum = c.limits.guard_limit_sum;
  m.disagree_limit_sum = c.limits.disagree_limit_sum;
  m.disagree_offset_sum = c.limits.disagree_offset_sum;
  m.climb_limit_sum = c.limits.climb_limit_sum;
  m.heater_on_limit_s = c.limits.heater_on_limit_s;
  m.heat_rise_sum = c.limits.heat_rise_sum;
  m.heat_loss_duty = c.limits.heat_loss_duty;
  m.heat_delay_s = c.limits.heat_delay_s;
  m.probe_lag_s = c.limits.probe_lag_s;
  memcpy(m.element_max_code, c.limits.element_max_code, sizeof m.element_max_code);
  memcpy(m.element_on_limit_s, c.limits.element_on_limit_s, sizeof m.element_on_limit_s);
  memcpy(m.lift_low_code, c.limits.lift_low_code, sizeof m.lift_low_code);
  memcpy(m.lift_high_code, c.limits.lift_high_code, sizeof m.lift_high_code);
  memcpy(m.over_stroke_code, c.limits.over_stroke_code, sizeof m.over_stroke_code);
  memcpy(m.element_per_k, c.limits.element_per_k, sizeof m.element_per_k);
  return m;
}

bool take(Controller& c, Pending kind) {
  const bool waits = c.pending & kind;
  c.pending &= uint8_t(~kind);
  return waits;
}

// Writes the most urgent pending line, false when none waits. The sample goes before answers, so
// that no flood of questions keeps it back.
bool write_next(Controller& c) {
  if (take(c, pending_trip))
    write(c.sending, wire::Trip{c.trip.number, c.trip.reason, c.trip.value, c.trip.limit});
  else if (take(c, pending_sample)) write(c.sending, c.sample);
  else if (take(c, pending_refused)) write(c.sending, c.refused);
  else if (take(c, pending_identity)) write(c.sending, identity(c));
  else if (take(c, pending_limits)) write(c.sending, limits_in_force(c));
  else return false;
  c.sending.finish();
  return true;
}

}  // namespace

void report_sample(Controller& c, uint32_t device_ms) {
  wire::Sample& m = c.sample;
  m.boot_id = c.boot_id;
  ++m.sequence;
  m.device_ms = device_ms;
  m.state = uint8_t(c.status.state);
  m.trip_reason = c.trip.reason;
  m.stop_reason = uint8_t(c.stop_reason);
  m.causes = c.guard.causes();
  m.demand_sequence = c.demand.sequence;
  m.bath_sum = c.sums.bath;
  m.bath_fault = c.sums.bath_fault;
  m.guard_sum = c.sums.guard;
  m.guard_fault = c.sums.guard_fault;
  for (uint8_t s = 0; s < wire::stations; ++s) {
    const bool here = s < board::stations;
    m.lift_sum[s] = here ? c.sums.lift[s] : wire::absent;
    m.current_sum[s] = here ? c.sums.current[s] : wire::absent;
    m.voltage_sum[s] = here ? c.sums.voltage[s] : wire::absent;
    m.station_flags[s] = here ? c.elements.flags(s) : 0;
  }
  m.heater_on_ms = c.status.heater_on_ms;
  m.duty = c.duty;
  m.inputs = c.status.inputs;
  m.outputs = c.status.outputs;
  m.refused = c.refused_count;
  m.malformed = c.malformed_count;
  c.pending |= pending_sample;
}

void report_send(Controller& c) {
  do c.sending.send();
  while (c.sending.empty() && write_next(c));
}
