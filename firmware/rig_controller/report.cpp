// Fills the outgoing messages and sends one line at a time.

#include "report.h"

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

// Writes a message's numbers behind a word of another's.
struct NumbersOnly {
  LineWriter& line;
  void word(wire::Word) {}
  void number(uint32_t value) { line.number(value); }
  template <class T> void numbers(const T* values, uint8_t count) { line.numbers(values, count); }
};

// The limits as they stand, without a copy of them on the stack.
void write_limits_in_force(Controller& c) {
  c.sending.word(wire::Word::limits_in_force);
  c.sending.number(c.limits_valid);
  NumbersOnly numbers = {c.sending};
  write(numbers, c.limits);
}

// Apart, so that its room on the stack is free again while the others are written.
[[gnu::noinline]] void write_identity(Controller& c) { write(c.sending, identity(c)); }

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
  else if (take(c, pending_identity)) write_identity(c);
  else if (take(c, pending_limits)) write_limits_in_force(c);
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
