// Wires of a healthy bench, and a host that answers each sample.

#include "rig.h"

#include "../../firmware/rig_controller/self_test.h"

namespace {

constexpr double element_ohm = 15.0;
constexpr double reference_share[3] = {1.0 / 2.0, 1.0 / 3.0, 2.0 / 3.0};

// 0.5 mA and 5 mV a code.
void follow(const plant::Drive& drive, plant::Signals& s) {
  s.level_ok = s.emergency_stop_closed = true;
  s.stirrer_turning = drive.stirrer;
  s.heater_live = drive.contactor && drive.heater;
  s.contactor_open = !drive.contactor;
  for (int i = 0; i < 3; ++i) s.reference_ratio[i] = reference_share[i];
  for (int i = 0; i < plant::kStations; ++i) {
    const bool on = drive.element_feed && drive.station_switch[i];
    s.current_ratio[i] = on ? drive.element_code[i] / 4095.0 : 0.0;
    s.voltage_ratio[i] = s.current_ratio[i] * element_ohm / 10.0;
  }
}

}  // namespace

wire::Limits usual_limits() {
  wire::Limits limits = {};
  limits.bath_limit_sum = 45000;
  limits.guard_limit_sum = 46000;
  limits.disagree_limit_sum = 504;
  limits.disagree_offset_sum = wire::offset_middle;
  limits.climb_limit_sum = 315;
  limits.heater_on_limit_s = 36000;
  for (int s = 0; s < wire::stations; ++s) {
    limits.element_max_code[s] = 2400;
    limits.element_on_limit_s[s] = 3600;
    limits.lift_low_code[s] = 50;
    limits.lift_high_code[s] = 4050;
    limits.over_stroke_code[s] = 3000;
  }
  return limits;
}

Rig::Rig(uint32_t start_ms) : now_ms(start_ms) {
  boot(wire::BootCause::power_on);
  pass();
  say(usual_limits());
  say(wire::Clear{c.trip.number});
  for (int i = 0; i < 6; ++i) pass();
  while (c.memory.busy()) pass();
  boot(wire::BootCause::external);
  ticks(2);
  heard();
}

void Rig::boot(wire::BootCause cause) {
  board.make_current();
  c = Controller();
  board.received.clear();
  board.received_at = 0;
  controller_boot(c, cause, boot_test(), now_ms);
}

void Rig::pass() {
  board.make_current();
  plant::Signals& s = board.signals;
  follow(board.drive, s);
  s.probe_ohm[0] = bath_code * 400.0 / 32768.0;
  s.probe_ohm[1] = guard_code * 400.0 / 32768.0;
  for (int i = 0; i < plant::kStations; ++i) s.gauge_ratio[i] = lift_code[i] / 4095.0;
  if (disturb) disturb(s);
  board.pass_time();
  now_ms += scan_ms;
  controller_pass(c, now_ms);
}

void Rig::tick() {
  if (hold) {
    const wire::Demand asked = want;
    want = answer(asked.lease_ms);
    say(want);
  }
  do pass();
  while (c.scans != 0);
}

void Rig::ticks(int count) {
  for (int i = 0; i < count; ++i) tick();
}

void Rig::go_live(uint16_t duty) {
  hold = true;
  want.lease_ms = 2000;
  want.duty = duty;
  want.stirrer = 1;
  ticks(40);
}

wire::Demand Rig::answer(uint16_t lease_ms) const {
  wire::Demand demand = want;
  demand.boot_id = c.boot_id;
  demand.sequence = c.sample.sequence;
  demand.lease_ms = lease_ms;
  return demand;
}

void Rig::say_raw(const std::string& bytes) { board.receive(bytes.data(), bytes.size()); }

std::vector<std::string> Rig::heard() {
  std::vector<std::string> lines;
  size_t begin = 0;
  for (size_t end; (end = board.sent.find('\n', begin)) != std::string::npos; begin = end + 1)
    lines.push_back(board.sent.substr(begin, end - begin));
  board.sent.erase(0, begin);
  return lines;
}

int Rig::ms_to_trip(int most_ms) {
  const uint32_t begin_ms = now_ms;
  while (int(now_ms - begin_ms) < most_ms) {
    if (hold && c.scans == 0) say(answer(want.lease_ms));
    pass();
    if (c.trip.reason) return int(now_ms - begin_ms);
  }
  return -1;
}

int Rig::ticks_to_trip(int most) {
  for (int i = 1; i <= most; ++i) {
    tick();
    if (c.trip.reason) return i;
  }
  return -1;
}

bool Rig::tripped_by(wire::TripReason reason) const {
  return c.status.state == wire::State::tripped && c.trip.reason == uint8_t(reason);
}

bool Rig::outputs_off() const {
  const plant::Drive& d = board.drive;
  bool on = d.contactor || d.heater || d.element_feed;
  for (int i = 0; i < plant::kStations; ++i) on |= d.station_switch[i] || d.element_code[i];
  return !on;
}
