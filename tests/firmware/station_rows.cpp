// Each station row of the guard table: the element goes off and the station is flagged, the night
// of the other stations goes on.

#include "check.h"
#include "rig.h"

using wire::StationFlag;

namespace {

constexpr uint16_t ma_200 = 400, ma_800 = 1600;  // DAC codes

// Ticks until station 2 is flagged, or -1.
int ticks_to_flag(Rig& rig, StationFlag flag, int most) {
  for (int i = 1; i <= most; ++i) {
    rig.tick();
    if (rig.c.sample.station_flags[1] & uint8_t(flag)) return i;
  }
  return -1;
}

void check_only_station_2_off(const Rig& rig, uint16_t others_code) {
  for (int s = 0; s < 6; ++s) {
    CHECK_EQUAL(rig.board.drive.element_code[s], s == 1 ? 0 : others_code);
    CHECK_EQUAL(rig.board.drive.station_switch[s], s != 1);
    if (s != 1) CHECK_EQUAL(rig.c.sample.station_flags[s], 0);
  }
  CHECK(rig.live());
}

void energise(Rig& rig, uint16_t code) {
  for (uint16_t& each : rig.want.element_code) each = code;
}

// A current wrong from the first moment is flagged half a second after the change, one that goes
// wrong later with the third sample; one sample less is forgiven.
void check_element(StationFlag flag, std::function<void(plant::Signals&)> wrong) {
  Rig fresh;
  fresh.go_live();
  energise(fresh, ma_800);
  fresh.disturb = wrong;
  const int ticks = ticks_to_flag(fresh, flag, 20);
  CHECK(ticks == 5 || ticks == 6);
  check_only_station_2_off(fresh, ma_800);

  Rig later;
  later.go_live();
  energise(later, ma_800);
  later.ticks(20);
  later.disturb = wrong;
  CHECK_EQUAL(ticks_to_flag(later, flag, 2), -1);
  later.disturb = nullptr;
  CHECK_EQUAL(ticks_to_flag(later, flag, 10), -1);
  later.disturb = wrong;
  CHECK_EQUAL(ticks_to_flag(later, flag, 20), 3);
  check_only_station_2_off(later, ma_800);
}

}  // namespace

TEST(element_current_above_set_point) {
  check_element(StationFlag::element_over, [](plant::Signals& s) {
    s.current_ratio[1] = 1850 / 4095.0;  // 925 mA of 800
    s.voltage_ratio[1] = 0.9;
  });
}

TEST(element_current_a_tenth_and_40_ma_above_set_point_is_tolerated) {
  Rig rig;
  rig.go_live();
  energise(rig, ma_800);
  rig.disturb = [](plant::Signals& s) { s.current_ratio[1] = 1840 / 4095.0; };
  CHECK_EQUAL(ticks_to_flag(rig, StationFlag::element_over, 100), -1);
  rig.disturb = [](plant::Signals& s) { s.current_ratio[1] = 1841 / 4095.0; };
  CHECK_EQUAL(ticks_to_flag(rig, StationFlag::element_over, 100), 3);
}

TEST(step_of_the_set_point_is_waited_for_a_small_one_is_not) {
  for (const uint16_t step : {uint16_t(40), uint16_t(41)}) {  // 20 mA
    Rig rig;
    rig.go_live();
    energise(rig, ma_800);
    rig.ticks(20);
    energise(rig, uint16_t(ma_800 + step));
    rig.disturb = [](plant::Signals& s) { s.current_ratio[1] = 0; };
    const int ticks = ticks_to_flag(rig, StationFlag::element_open, 20);
    CHECK_EQUAL(ticks == 3, step == 40);
    CHECK_EQUAL(ticks == 5 || ticks == 6, step == 41);
  }
}

TEST(element_current_at_a_small_set_point) {
  Rig rig;
  rig.go_live();
  energise(rig, 40);  // 20 mA
  rig.disturb = [](plant::Signals& s) { s.current_ratio[1] = 199 / 4095.0; };
  CHECK_EQUAL(ticks_to_flag(rig, StationFlag::element_over, 50), -1);
  rig.disturb = [](plant::Signals& s) { s.current_ratio[1] = 200 / 4095.0; };
  CHECK_EQUAL(ticks_to_flag(rig, StationFlag::element_over, 50), 3);
}

TEST(element_open) {
  check_element(StationFlag::element_open, [](plant::Signals& s) { s.current_ratio[1] = 0; });
}

TEST(element_open_is_not_judged_below_100_ma) {
  Rig rig;
  rig.go_live();
  rig.disturb = [](plant::Signals& s) { s.current_ratio[1] = 0; };
  energise(rig, 199);
  CHECK_EQUAL(ticks_to_flag(rig, StationFlag::element_open, 50), -1);
  energise(rig, 200);
  CHECK(ticks_to_flag(rig, StationFlag::element_open, 50) > 0);
}

TEST(element_shorted) {
  check_element(StationFlag::element_short, [](plant::Signals& s) {
    s.voltage_ratio[1] = s.current_ratio[1] * 2.9 / 10.0;  // 2.9 ohm
  });
}

TEST(element_of_few_ohm_is_not_shorted) {
  Rig rig;
  rig.go_live();
  energise(rig, ma_200);
  rig.disturb = [](plant::Signals& s) { s.voltage_ratio[1] = s.current_ratio[1] * 3.2 / 10.0; };
  CHECK_EQUAL(ticks_to_flag(rig, StationFlag::element_short, 50), -1);
}

TEST(element_fault_during_a_slow_power_ramp_is_found) {
  Rig rig;
  rig.go_live();
  energise(rig, ma_200);
  rig.ticks(20);
  rig.disturb = [](plant::Signals& s) { s.current_ratio[1] = 0; };
  int ticks = -1;
  for (int i = 0; i < 50 && ticks < 0; ++i) {
    energise(rig, uint16_t(ma_200 + i));  // a step each tick
    if (ticks_to_flag(rig, StationFlag::element_open, 1) > 0) ticks = i;
  }
  CHECK(ticks >= 0 && ticks < 10);
}

TEST(element_on_longer_than_allowed) {
  Rig rig;
  rig.c.limits.element_on_limit_s[1] = 5;
  rig.go_live();
  energise(rig, ma_200);
  const int ticks = ticks_to_flag(rig, StationFlag::element_time, 100);
  CHECK(ticks >= 50 && ticks <= 52);
  check_only_station_2_off(rig, ma_200);
}

TEST(element_on_time_is_of_one_unbroken_stretch) {
  Rig rig;
  rig.c.limits.element_on_limit_s[1] = 5;
  rig.go_live();
  for (int i = 0; i < 3; ++i) {
    energise(rig, ma_200);
    rig.ticks(40);
    energise(rig, 0);
    rig.ticks(10);
  }
  CHECK_EQUAL(rig.c.sample.station_flags[1], 0);
}

TEST(gauge_outside_its_window_for_a_second) {
  for (const uint16_t code : {uint16_t(49), uint16_t(4051)}) {  // window 200..16200
    Rig rig;
    rig.go_live();
    energise(rig, ma_200);
    rig.ticks(20);
    rig.lift_code[1] = code;
    CHECK_EQUAL(ticks_to_flag(rig, StationFlag::gauge_fault, 9), -1);
    rig.lift_code[1] = 500;
    CHECK_EQUAL(ticks_to_flag(rig, StationFlag::gauge_fault, 20), -1);
    rig.lift_code[1] = code;
    const int ticks = ticks_to_flag(rig, StationFlag::gauge_fault, 20);
    CHECK(ticks >= 10 && ticks <= 12);
    check_only_station_2_off(rig, ma_200);
  }
}

TEST(gauge_at_its_window_edge) {
  for (const uint16_t code : {uint16_t(50), uint16_t(4050)}) {
    Rig rig;
    rig.c.limits.over_stroke_code[1] = 4050;
    rig.go_live();
    rig.lift_code[1] = code;
    CHECK_EQUAL(ticks_to_flag(rig, StationFlag::gauge_fault, 30), -1);
  }
}

TEST(over_stroke_for_a_second_switches_the_element_off) {
  Rig rig;
  rig.go_live();
  energise(rig, ma_200);
  rig.ticks(20);
  rig.lift_code[1] = 3000;  // 12000: at the limit
  CHECK_EQUAL(ticks_to_flag(rig, StationFlag::over_stroke, 30), -1);
  rig.lift_code[1] = 3001;
  const int ticks = ticks_to_flag(rig, StationFlag::over_stroke, 30);
  CHECK(ticks >= 10 && ticks <= 12);
  check_only_station_2_off(rig, ma_200);
}

TEST(over_stroke_lets_the_bath_rise_no_further) {
  Rig rig;
  rig.go_live(1000);
  CHECK(rig.board.drive.heater);
  rig.lift_code[1] = 3500;
  rig.ticks(15);
  CHECK(rig.live());
  CHECK(!rig.board.drive.heater);
  CHECK_EQUAL(rig.c.sample.duty, 0);
  rig.bath_code = warm_code - 10;  // cooler: heat may hold it
  rig.ticks(2);
  CHECK(rig.board.drive.heater);
  rig.bath_code = warm_code + 1;
  rig.ticks(2);
  CHECK(!rig.board.drive.heater);
}

TEST(flag_stays_until_the_next_live_begins) {
  Rig rig;
  rig.go_live();
  energise(rig, ma_800);
  rig.disturb = [](plant::Signals& s) { s.current_ratio[1] = 0; };
  rig.ticks(10);
  rig.disturb = nullptr;
  rig.ticks(50);
  CHECK_EQUAL(rig.c.sample.station_flags[1], uint8_t(StationFlag::element_open));
  CHECK_EQUAL(rig.board.drive.element_code[1], 0);
  rig.hold = false;
  rig.ticks(40);
  CHECK_EQUAL(rig.c.sample.station_flags[1], uint8_t(StationFlag::element_open));
  rig.go_live();
  CHECK_EQUAL(rig.c.sample.station_flags[1], 0);
  CHECK_EQUAL(rig.board.drive.element_code[1], ma_800);
}
