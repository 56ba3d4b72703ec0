// The script of the night, the proportional controller, and the few ways in which a host is late.

#include "controller_night.h"

#include <math.h>

namespace {

constexpr double tick_s = wire::tick_ms / 1000.0;
constexpr double duty_per_k = 0.2;      // stable with 3 kW into 5 l
constexpr double near_k = 1.5;          // a proportional controller stays that far behind
constexpr double patience_min = 60.0;   // then a step goes on without its temperature
constexpr double lost = 1.0 / 600, silent = 1.0 / 20000;  // of all ticks
constexpr double code_per_a = 2000.0;
constexpr uint16_t lease_ms = 2000;

// Inverse of IEC 60751 for 0 degC and more; sums as in board.h.
double temperature_c(uint32_t sum) {
  constexpr double a = 3.9083e-3, b = -5.775e-7;
  const double ratio = sum / 327.68 / 100.0;
  return (sqrt(a * a - 4 * b * (1 - ratio)) - a) / (2 * b);
}

uint32_t probe_sum(double c) {
  return uint32_t((100.0 + 0.39083 * c - 5.775e-5 * c * c) * 327.68 + 0.5);
}

// Those of a usual night.
wire::Limits night_limits() {
  wire::Limits limits = {};
  limits.bath_limit_sum = probe_sum(108);
  limits.guard_limit_sum = probe_sum(110);
  limits.disagree_limit_sum = 504;
  limits.disagree_offset_sum = wire::offset_middle;
  limits.climb_limit_sum = 315;
  limits.heater_on_limit_s = 36000;
  for (int s = 0; s < wire::stations; ++s) {
    limits.element_max_code[s] = 2400;
    limits.element_on_limit_s[s] = 3600;
    limits.lift_low_code[s] = 25;
    limits.lift_high_code[s] = 4075;
    limits.over_stroke_code[s] = 3000;
  }
  return limits;
}

template <class Message> void say(NativeBoard& board, const Message& message) {
  LineWriter line;
  write(line, message);
  line.finish();
  board.receive(line.text(), line.length());
}

}  // namespace

ScriptedHost::ScriptedHost(ControllerBench& bench, uint64_t seed) : bench_(bench), draw_(seed, 900) {
  double ohm = 0;
  bench.get("unit.1.heater_ohm", &ohm);
  has_heaters_ = ohm > 0;
  bench.advance("", 0);
  say(bench.board, night_limits());
  say(bench.board, wire::Clear{bench.controller().trip.number});
  bench.advance("", 0);
  set_c_ = temperature_c(bench.controller().sample.bath_sum);
}

// Cycles until the night is over: a soak below, up and down through the start-to-open, a soak for
// the elements, a rest with the contactor open, and the stirrer alone.
void ScriptedHost::begin_step() {
  const Step script[] = {{Kind::to, 60, 0, 10},  {Kind::to, 97, 1, 10},
                         {Kind::to, 65, 2.0, 5}, {Kind::to, 94, 0, 10},
                         {Kind::energise, 94, 0, 42}, {Kind::rest, 0, 0, 4},
                         {Kind::stir, 0, 0, 6}};
  constexpr int steps = sizeof script / sizeof script[0];
  at_ = (at_ + 1) % steps;
  if (at_ == 0) {
    rise_k_per_min_ = 0.25 * pow(8.0, draw_.uniform());  // to 2 K/min
    element_a_ = 0.3 + 0.6 * draw_.uniform();
  }
  step_ = script[at_];
  if (at_ == 1) step_.rate_k_per_min = rise_k_per_min_;
  ticks_in_step_ = 0;
}

void ScriptedHost::follow_set_point(double bath_c) {
  if (step_.kind == Kind::rest || step_.kind == Kind::stir) {
    set_c_ = bath_c;
    return;
  }
  const double most_k = step_.rate_k_per_min > 0 ? step_.rate_k_per_min / 60 * tick_s : 1e3;
  const double gap_k = step_.to_c - set_c_;
  set_c_ += gap_k > most_k ? most_k : gap_k < -most_k ? -most_k : gap_k;
}

// The minutes count from when the temperature is reached.
bool ScriptedHost::step_done(double bath_c) const {
  const bool there = step_.kind != Kind::to || fabs(bath_c - step_.to_c) < near_k;
  const double minutes = ticks_in_step_ * tick_s / 60;
  const double ramp_min =
      step_.kind == Kind::to && step_.rate_k_per_min > 0 ? 37 / step_.rate_k_per_min : 0;
  return (there && minutes > step_.minutes + ramp_min) || minutes > patience_min + ramp_min;
}

// Each station for 3 min, then all at once in three steps, then all in a slow power ramp.
void ScriptedHost::energise(wire::Demand& demand) const {
  const double minutes = ticks_in_step_ * tick_s / 60;
  const int alone = int(minutes / 3);
  for (int s = 0; s < wire::stations; ++s) {
    double a = 0;
    if (alone < wire::stations) a = s == alone ? element_a_ : 0;
    else if (minutes < 30) a = element_a_ * (int(minutes / 4) - 3) / 4;
    else a = element_a_ * (minutes - 30) / 12;
    demand.element_code[s] = uint16_t(a * code_per_a);
  }
}

wire::Demand ScriptedHost::demand(double bath_c) const {
  const wire::Sample& at = bench_.controller().sample;
  wire::Demand demand = {};
  demand.boot_id = at.boot_id;
  demand.sequence = at.sequence;
  if (step_.kind == Kind::rest) return demand;
  demand.lease_ms = lease_ms;
  demand.stirrer = 1;
  if (step_.kind == Kind::stir) return demand;
  const double duty = (set_c_ - bath_c) * duty_per_k;
  demand.duty = uint16_t((duty < 0 ? 0 : duty > 1 ? 1 : duty) * wire::duty_full);
  demand.cooling = step_.kind == Kind::to && bath_c > set_c_ + 0.5;
  if (step_.kind == Kind::energise && has_heaters_) energise(demand);
  return demand;
}

void ScriptedHost::send(const wire::Demand& demand) {
  if (silent_ticks_ > 0) {
    --silent_ticks_;
    return;
  }
  if (draw_.uniform() < silent) {
    silent_ticks_ = uint32_t(10 + 60 * draw_.uniform());  // up to 7 s: longer than the lease
    ++record_.pauses;
  }
  if (draw_.uniform() >= lost) say(bench_.board, demand);
}

void ScriptedHost::note(double bath_c) {
  const Controller& c = bench_.controller();
  ++ticks_;
  record_.hours = ticks_ * tick_s / 3600;
  if (c.status.live()) record_.live_hours += tick_s / 3600;
  if (c.elements.switches()) record_.elements_on_s += tick_s;
  if (bath_c > record_.hottest_c) record_.hottest_c = bath_c;
  record_.heater_on_s = c.status.heater_on_ms / 1000.0;
  record_.refused = c.refused_count;
  record_.malformed = c.malformed_count;
  for (uint8_t s = 0; s < wire::stations; ++s) {
    record_.station_flags = int(record_.station_flags) | c.elements.flags(s);
    const double lift_mm = c.sample.lift_sum[s] * (20.0 / 16380.0);
    if (lift_mm > record_.most_lift_mm) record_.most_lift_mm = lift_mm;
  }
  if (!c.trip.reason) return;
  record_.trip_reason = c.trip.reason;
  record_.trip_s = bench_.plant.time_s();
}

void ScriptedHost::tick() {
  const double bath_c = temperature_c(bench_.controller().sample.bath_sum);
  if (at_ < 0 || step_done(bath_c)) begin_step();
  ++ticks_in_step_;
  follow_set_point(bath_c);
  send(demand(bath_c));
  bench_.advance("", 0);
  bench_.board.sent.clear();
  note(bath_c);
}
