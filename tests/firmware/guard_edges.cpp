// Each level and persistence of the guard to the last count and the last 25 ms, against figures
// worked out here by hand or by IEC 60751, so that no level can move unnoticed.

#include <math.h>
#include <stdlib.h>

#include "../../firmware/rig_controller/climb.h"
#include "check.h"
#include "rig.h"

using wire::Limits;
using wire::StationFlag;
using wire::TripReason;

namespace {

// Sum of four 15-bit codes of a Pt100 against 400 ohm, IEC 60751 above 0 degC.
double sum_at(double c) {
  const double ohm = 100.0 * (1.0 + 3.9083e-3 * c - 5.775e-7 * c * c);
  return ohm / 400.0 * 131072.0;
}

// Sum counts a kelvin near 57 degC.
double sums_of(double k) { return k * (sum_at(57.5) - sum_at(56.5)); }

// The first pass that sees the condition comes 25 ms after `disturb` is set.
void check_trips_after(Rig& rig, TripReason reason, int limit_ms,
                       std::function<void(plant::Signals&)> wrong) {
  rig.disturb = wrong;
  CHECK_EQUAL(rig.ms_to_trip(limit_ms + 1000), limit_ms + scan_ms);
  CHECK(rig.tripped_by(reason));
}

bool taken(Rig& rig, const Limits& limits) {
  rig.c.limits = Limits();
  rig.say(limits);
  rig.ticks(2);  // a pass takes only some bytes of a line
  return rig.c.limits.bath_limit_sum == limits.bath_limit_sum;
}

// The greatest value of one field that the controller takes.
template <class Set> void check_ceiling(uint32_t greatest, Set set) {
  Rig rig;
  for (const uint32_t value : {greatest, greatest + 1}) {
    Limits limits = usual_limits();
    set(limits, value);
    CHECK_EQUAL(taken(rig, limits), value == greatest);
  }
}

// A bath that makes `k` in one step at `ms` after everything that warms it ended.
void step_at(Rig& rig, int ms, double k) {
  for (int passed = 0; passed < ms; passed += 100) rig.tick();
  rig.bath_code += sums_of(k) / 4;
  rig.guard_code += sums_of(k) / 4;
}

// What warms the bath ends; a step half a second before `quiet_ms` is its afterheat, half a second
// after the first mean of 10 s it is a climb.
void check_quiet(int quiet_ms, std::function<void(Rig&)> end) {
  Rig early;
  end(early);
  step_at(early, quiet_ms - 500, 2.0);
  CHECK_EQUAL(early.ticks_to_trip(300), -1);
  Rig late;
  end(late);
  step_at(late, quiet_ms + 10500, 0.6);
  CHECK(late.ticks_to_trip(300) > 0);
  CHECK(late.tripped_by(TripReason::climb_while_off));
}

// Heats for a moment; the stirrer turns on.
void heated(Rig& rig) {
  rig.go_live(1000);
  rig.ticks(10);
  rig.want.duty = 0;
  rig.tick();
}

}  // namespace

TEST(level_low_trips_after_1000_ms) {
  Rig rig;
  rig.go_live(500);
  check_trips_after(rig, TripReason::level_low, 1000,
                    [](plant::Signals& s) { s.level_ok = false; });
}

TEST(stirrer_stopped_trips_after_2000_ms) {
  Rig rig;
  rig.go_live(500);
  check_trips_after(rig, TripReason::stirrer_stopped, 2000,
                    [](plant::Signals& s) { s.stirrer_turning = false; });
}

TEST(contactor_mirror_trips_after_500_ms) {
  Rig rig;
  rig.go_live(0);
  check_trips_after(rig, TripReason::contactor_mirror, 500,
                    [](plant::Signals& s) { s.contactor_open = true; });
}

TEST(heater_welded_trips_after_200_ms) {
  Rig rig;
  rig.go_live(0);
  check_trips_after(rig, TripReason::heater_welded, 200,
                    [](plant::Signals& s) { s.heater_live = true; });
}

// On-time without current: it counts from the pass that last saw current.
TEST(heater_open_trips_after_500_ms_of_on_time) {
  Rig rig;
  rig.go_live(1000);
  rig.ticks(10);
  CHECK(rig.board.drive.heater);
  rig.disturb = [](plant::Signals& s) { s.heater_live = false; };
  CHECK_EQUAL(rig.ms_to_trip(2000), 500);
  CHECK(rig.tripped_by(TripReason::heater_open));
  CHECK_EQUAL(rig.c.trip.value, 500u);
}

TEST(heat_waits_for_three_seconds_of_a_turning_stirrer) {
  Rig rig;
  rig.hold = true;
  rig.want.lease_ms = 2000;
  rig.want.duty = 1000;
  rig.want.stirrer = 1;
  int stirred_ms = 0;
  for (int i = 0; i < 400 && !rig.board.drive.heater; ++i) {
    if (rig.c.scans == 0) rig.say(rig.answer(2000));
    rig.pass();
    if (rig.board.signals.stirrer_turning) stirred_ms += scan_ms;
  }
  CHECK(rig.board.drive.heater);
  CHECK(stirred_ms >= 3000 && stirred_ms <= 3100);
}

TEST(contactor_opens_a_second_after_the_heat) {
  Rig rig;
  rig.go_live(0);
  rig.hold = false;
  rig.say(rig.answer(0));
  rig.pass();
  int ms = 0;
  while (rig.board.drive.contactor && ms < 3000) {
    rig.pass();
    ms += scan_ms;
  }
  CHECK_EQUAL(ms, 1000);
}

TEST(a_bath_is_quiet_120_s_after_the_heater) { check_quiet(120000, heated); }

TEST(a_bath_is_quiet_60_s_after_the_elements) {
  check_quiet(60000, [](Rig& rig) {
    heated(rig);
    rig.ticks(1500);
    rig.want.element_code[2] = 1000;
    rig.ticks(20);
    rig.want.element_code[2] = 0;
    rig.tick();
  });
}

TEST(a_bath_is_quiet_60_s_after_the_stirrers_restart) {
  check_quiet(60000, [](Rig& rig) {
    heated(rig);
    rig.ticks(1500);
    rig.want.stirrer = 0;
    rig.ticks(20);
    rig.want.stirrer = 1;
    rig.tick();
  });
}

// Half a kelvin is 62.9 sums: 60 is less, 64 is more; codes are whole and a sum is four of them.
TEST(half_a_kelvin_is_a_climb_while_off) {
  CHECK(60 < sums_of(0.5) && sums_of(0.5) < 64);
  for (const int codes : {15, 16}) {
    Rig rig;
    heated(rig);
    rig.ticks(1350);
    rig.bath_code += codes;
    rig.guard_code += codes;
    CHECK_EQUAL(rig.ticks_to_trip(300) > 0, codes == 16);
  }
}

// A ramp of r sums a second is 10 r in 10 s.
TEST(fast_climb_is_the_rise_of_ten_seconds_of_ten_ticks) {
  FastClimb climb;
  int given = 0;
  for (int tick = 1; tick <= 400; ++tick) {
    const uint16_t rise = climb.add(uint32_t(40000 + 10 * tick));
    if (tick % 10 == 0 && tick > 100) CHECK_EQUAL(rise, 1000);
    if (tick % 10 || tick <= 100) CHECK_EQUAL(rise, 0);
    given += rise > 0;
  }
  CHECK_EQUAL(given, 30);
}

TEST(slow_climb_is_of_means_of_a_hundred_ticks) {
  SlowClimb climb;
  for (int tick = 1; tick <= 100; ++tick) CHECK_EQUAL(climb.add(40000), 0);
  for (int tick = 1; tick < 100; ++tick) CHECK_EQUAL(climb.add(40100), 0);
  CHECK_EQUAL(climb.add(40100), 100);
}

// IEC 60751: 113.61 ohm at 35 degC.
TEST(slow_climb_counts_from_35_degc) {
  const uint32_t floor_sum = uint32_t(round(sum_at(35.0)));
  SlowClimb climb;
  uint16_t rise = 0;
  for (int tick = 0; tick < 100; ++tick) climb.add(sum_at(20.0));
  for (int tick = 0; tick < 100; ++tick) rise = climb.add(floor_sum);
  CHECK_EQUAL(rise, 0);
  for (int tick = 0; tick < 100; ++tick) rise = climb.add(floor_sum + 40);
  CHECK_EQUAL(rise, 40);
}

TEST(element_is_judged_half_a_second_after_its_change) {
  Rig rig;
  Elements elements;
  const uint16_t codes[board::stations] = {1600};
  elements.set(codes, 1000);
  const Sums dead;
  for (const uint32_t ms : {1100u, 1200u, 1300u, 1499u}) elements.judge(dead, usual_limits(), ms);
  CHECK_EQUAL(elements.flags(0), 0);
  elements.judge(dead, usual_limits(), 1500);
  CHECK_EQUAL(elements.flags(0), uint8_t(StationFlag::element_open));
  CHECK(!elements.settled_off(0, 1999));
  CHECK(elements.settled_off(0, 2000));
}

TEST(gauge_fault_and_over_stroke_stand_for_a_second) {
  Rig rig;
  const struct {
    uint16_t lift;
    StationFlag flag;
  } rows[] = {{199, StationFlag::gauge_fault}, {12001, StationFlag::over_stroke}};
  for (const auto& row : rows) {
    Elements elements;
    Sums sums;
    for (uint16_t& lift : sums.lift) lift = 2000;
    sums.lift[1] = row.lift;
    elements.judge(sums, usual_limits(), 1000);
    elements.judge(sums, usual_limits(), 1999);
    CHECK_EQUAL(elements.flags(1), 0);
    elements.judge(sums, usual_limits(), 2000);
    CHECK_EQUAL(elements.flags(1), uint8_t(row.flag));
  }
}

// 125 degC by IEC 60751.
TEST(ceiling_of_both_probes_is_125_degc) {
  const uint32_t greatest = uint32_t(ceil(sum_at(125.0)));
  check_ceiling(greatest, [](Limits& l, uint32_t value) { l.bath_limit_sum = value; });
  check_ceiling(greatest, [](Limits& l, uint32_t value) { l.guard_limit_sum = value; });
}

// The wide level of 4 K with what a probe counts more when cold, 126 counts a kelvin by hand; and
// 20 K/min over 10 s, near 57 degC.
TEST(ceilings_of_disagreement_and_climb_are_4_1_k_and_20_k_a_minute) {
  check_ceiling(uint32_t(round(4.1 * 126)),
                [](Limits& l, uint32_t value) { l.disagree_limit_sum = uint16_t(value); });
  check_ceiling(uint32_t(round(sums_of(20.0 / 6.0))),
                [](Limits& l, uint32_t value) { l.climb_limit_sum = uint16_t(value); });
}

TEST(ceiling_of_the_heaters_time_is_14_hours) {
  check_ceiling(14 * 3600, [](Limits& l, uint32_t value) { l.heater_on_limit_s = uint16_t(value); });
}

// 1.5 A at 0.5 mA a code.
TEST(ceilings_of_an_element_are_1500_ma_and_4_hours) {
  for (int s = 0; s < board::stations; ++s) {
    check_ceiling(1500 * 2, [s](Limits& l, uint32_t v) { l.element_max_code[s] = uint16_t(v); });
    check_ceiling(4 * 3600, [s](Limits& l, uint32_t v) { l.element_on_limit_s[s] = uint16_t(v); });
  }
}

// 126 counts a kelvin by hand, to either side of the middle.
TEST(ceiling_of_the_probes_offset_is_3_k) {
  for (const int side : {-1, 1})
    check_ceiling(3 * 126, [side](Limits& l, uint32_t value) {
      l.disagree_offset_sum = uint16_t(wire::offset_middle + side * int(value));
    });
}

TEST(ceiling_of_the_probes_lag_is_60_s) {
  check_ceiling(60, [](Limits& l, uint32_t value) { l.probe_lag_s = uint8_t(value); });
}

// 50e-5 per K; the lowest code of a gauge that is whole is 20, so that 19 is one too many below it.
TEST(ceilings_of_an_elements_coefficient_and_floor_of_its_gauge) {
  for (int s = 0; s < board::stations; ++s) {
    check_ceiling(50, [s](Limits& l, uint32_t value) { l.element_per_k[s] = uint8_t(value); });
    check_ceiling(0, [s](Limits& l, uint32_t under) { l.lift_low_code[s] = uint16_t(20 - under); });
  }
}

// IEC 60751, table: 94.12 ohm at -15 degC, where only the guard probe's converter tells of cold.
TEST(guard_probes_converter_tells_of_cold_from_minus_15_degc_down) {
  for (const double ohm : {94.12 - 0.04, 94.12 + 0.04}) {  // 0.1 K
    Rig rig;
    rig.bath_code = rig.guard_code = ohm / 400.0 * 32768.0;
    rig.tick();
    CHECK_EQUAL(rig.c.sample.guard_fault != 0, ohm < 94.12);
    CHECK_EQUAL(rig.c.sample.bath_fault, 0);
  }
}

namespace {

// What the guard finds with these inputs, looked at from 1000 ms on, at `ms`.
TripReason found_at(uint8_t inputs, uint32_t ms) {
  Guard guard;
  Status status;
  status.inputs = inputs;
  guard.look(status, 1000);
  CHECK(guard.take_cause().reason == TripReason::none);
  guard.look(status, ms);
  return guard.take_cause().reason;
}

constexpr uint8_t healthy = uint8_t(wire::Input::level_ok) |
                            uint8_t(wire::Input::emergency_stop_closed) |
                            uint8_t(wire::Input::contactor_open);

}  // namespace

TEST(heater_current_of_199_ms_is_not_welded) {
  constexpr uint8_t live = healthy | uint8_t(wire::Input::heater_live);
  CHECK(found_at(live, 1199) == TripReason::none);
  CHECK(found_at(live, 1200) == TripReason::heater_welded);
}

// A pass takes at least a millisecond.
TEST(emergency_stop_is_believed_with_its_second_look) {
  CHECK(found_at(healthy & ~uint8_t(wire::Input::emergency_stop_closed), 1000) == TripReason::none);
  CHECK(found_at(healthy & ~uint8_t(wire::Input::emergency_stop_closed), 1001) ==
        TripReason::emergency_stop);
}

// A follower that lags by 12.8 s lags by 1 - 1/e of that, 63.2 %, when a ramp is as old; and what was
// 100 % when the ramp ended has faded to 1/e, 36.8 %, after 102.4 s. The ramp is 40 counts a second,
// 19 K/min: 2400 in 60 s; a step of the answer is 5.
TEST(pace_of_a_ramp_is_known_within_13_s_and_forgotten_within_102_s) {
  Pace pace;
  uint32_t sum = 40000;
  pace.add(sum, sum);
  for (int tick = 0; tick < 128; ++tick) pace.add(sum += 4, 40000);
  CHECK(abs(int(pace.within(60)) - 1517) <= 20);
  for (int tick = 0; tick < 1000; ++tick) pace.add(sum += 4, 40000);
  CHECK(abs(int(pace.within(60)) - 2400) <= 20);
  for (int tick = 0; tick < 1024; ++tick) pace.add(sum, 40000);
  CHECK(abs(int(pace.within(60)) - 883) <= 20);
}

// The lowest bit of the converter's fault register is free: it is the driver's mark.
TEST(lost_configuration_has_a_mark_of_its_own) {
  Rig rig;
  rig.go_live(0);
  rig.board.bus = devices::Bus();
  rig.tick();
  CHECK_EQUAL(rig.c.sample.bath_fault, 1);
  CHECK_EQUAL(rig.c.sample.guard_fault, 1);
}
