// One handler a word, each with the reasons it refuses for.

#include "command.h"

#include <string.h>

#include "state.h"

namespace {

using Refusal = wire::RefusedReason;
constexpr Refusal taken = Refusal(0);

void count(uint16_t& counter, uint8_t more = 1) {
  counter = (counter + more) % 1000;
}

void answer(Controller& c, wire::Word word, uint32_t sequence, Refusal reason) {
  if (reason == taken) return;
  count(c.refused_count);
  c.refused = {uint8_t(word), sequence, uint8_t(reason)};
  c.pending |= pending_refused;
}

void hello(Controller& c, const wire::Hello& hello) {
  c.pending |= pending_identity | pending_limits;
  const bool known = hello.protocol == wire::protocol;
  answer(c, wire::Word::hello, 0, known ? taken : Refusal::wrong_protocol);
}

bool asks_current(const wire::Demand& demand) {
  for (uint16_t code : demand.element_code)
    if (code) return true;
  return false;
}

Refusal elements_refusal(const Controller& c, const wire::Demand& demand) {
  for (uint8_t s = 0; s < wire::stations; ++s) {
    if (s >= board::stations && demand.element_code[s]) return Refusal::station_absent;
    if (demand.element_code[s] > c.limits.element_max_code[s]) return Refusal::out_of_range;
  }
  return asks_current(demand) && !demand.stirrer ? Refusal::unstirred : taken;
}

// An answer counts only once and only while it is fresh, so a doubled, delayed or replayed line
// does nothing.
Refusal demand_refusal(const Controller& c, const wire::Demand& demand) {
  if (demand.boot_id != c.boot_id) return Refusal::wrong_boot;
  if (demand.sequence > c.sample.sequence) return Refusal::out_of_range;
  if (demand.sequence <= c.demand.sequence) return Refusal::not_newer;
  if (c.sample.sequence - demand.sequence > wire::oldest_answer_ticks) return Refusal::too_old;
  if (c.status.state == wire::State::tripped) return Refusal::wrong_state;
  if (!c.limits_valid) return Refusal::limits_missing;
  if (c.heat_stopped && demand.lease_ms) return Refusal::heat_stopped;
  return elements_refusal(c, demand);
}

Refusal demand(Controller& c, const wire::Demand& demand, uint32_t now_ms) {
  const Refusal refusal = demand_refusal(c, demand);
  if (refusal != taken) return refusal;
  c.demand = demand;
  if (demand.lease_ms) state_live(c, now_ms);
  else state_release(c, wire::StopReason::released, now_ms);
  return taken;
}

Refusal limits(Controller& c, const wire::Limits& limits) {
  if (c.status.live()) return Refusal::wrong_state;
  if (c.contactor || !c.status.in(wire::Input::contactor_open)) return Refusal::contactor_closed;
  if (!limits_allowed(limits)) return Refusal::beyond_ceiling;
  c.pending |= pending_limits;
  c.heat_stopped = false;
  if (c.limits_valid && memcmp(&c.limits, &limits, item_size[uint8_t(Item::limits)]) == 0)
    return taken;  // spares the EEPROM
  c.limits = limits;
  c.limits_valid = true;
  c.memory.store(Item::limits);
  return taken;
}

Refusal clear(Controller& c, const wire::Clear& clear) {
  if (c.status.state != wire::State::tripped) return Refusal::wrong_state;
  if (clear.trip_number != c.trip.number) return Refusal::wrong_trip;
  if (!c.limits_valid) return Refusal::limits_missing;
  if (c.guard.causes()) return Refusal::cause_present;
  state_clear(c);
  return taken;
}

// Whether a line was read whole. One that is well formed but out of range is answered.
bool understood(Controller& c, const LineReader& line, bool read, wire::Word word,
                uint32_t sequence = 0) {
  if (read) return true;
  if (line.outside()) answer(c, word, sequence, Refusal::out_of_range);
  else count(c.malformed_count);
  return false;
}

// One function a word, apart, so that only the message at hand takes room on the stack.
[[gnu::noinline]] void handle_demand(Controller& c, LineReader& line, uint32_t now_ms) {
  wire::Demand m = {};
  if (understood(c, line, read(line, m), wire::Word::demand, m.sequence))
    answer(c, wire::Word::demand, m.sequence, demand(c, m, now_ms));
}

[[gnu::noinline]] void handle_hello(Controller& c, LineReader& line) {
  wire::Hello m = {};
  if (understood(c, line, read(line, m), wire::Word::hello)) hello(c, m);
}

[[gnu::noinline]] void handle_limits(Controller& c, LineReader& line) {
  wire::Limits m = {};
  if (understood(c, line, read(line, m), wire::Word::limits))
    answer(c, wire::Word::limits, 0, limits(c, m));
}

[[gnu::noinline]] void handle_clear(Controller& c, LineReader& line) {
  wire::Clear m = {};
  if (understood(c, line, read(line, m), wire::Word::clear))
    answer(c, wire::Word::clear, 0, clear(c, m));
}

}  // namespace

void command_handle(Controller& c, uint32_t now_ms) {
  LineReader line(c.received.text(), c.received.length());
  const bool checked = line.checked();
  if (checked && line.word(wire::Word::demand)) handle_demand(c, line, now_ms);
  else if (checked && line.word(wire::Word::hello)) handle_hello(c, line);
  else if (checked && line.word(wire::Word::limits)) handle_limits(c, line);
  else if (checked && line.word(wire::Word::clear)) handle_clear(c, line);
  else count(c.malformed_count);
}
