// States and lease: what a demand does, how it ends, and the one fault path.

#include "check.h"
#include "rig.h"

using wire::RefusedReason;
using wire::TripReason;

namespace {

bool refused(Rig& rig, wire::Word word, RefusedReason reason) {
  const std::string begin = "refused " + std::to_string(int(word)) + ' ';
  const std::string middle = ' ' + std::to_string(int(reason)) + " #";
  for (const std::string& line : rig.heard())
    if (line.compare(0, begin.size(), begin) == 0 && line.find(middle) != std::string::npos)
      return true;
  return false;
}

void estop(Rig& rig) {
  rig.disturb = [](plant::Signals& s) { s.emergency_stop_closed = false; };
  rig.pass();
  rig.pass();
  rig.disturb = nullptr;
}

}  // namespace

TEST(lease_over_switches_heat_off_at_once_and_the_contactor_a_second_later) {
  Rig rig;
  rig.go_live(1000);
  rig.want.element_code[4] = 800;
  rig.ticks(20);
  CHECK(rig.board.drive.heater && rig.board.drive.station_switch[4]);
  const uint32_t taken_ms = rig.c.demand_ms;
  rig.hold = false;
  while (rig.board.drive.heater) rig.pass();
  const int heat_ms = int(rig.now_ms - taken_ms);
  CHECK(heat_ms >= 2000 && heat_ms <= 2100);
  CHECK(rig.c.status.state == wire::State::ready);
  CHECK(!rig.board.drive.element_feed && !rig.board.drive.station_switch[4]);
  CHECK_EQUAL(rig.board.drive.element_code[4], 0);
  CHECK(rig.board.drive.contactor);
  while (rig.board.drive.contactor) rig.pass();
  const int contactor_ms = int(rig.now_ms - taken_ms);
  CHECK(contactor_ms >= heat_ms + 1000 && contactor_ms <= heat_ms + 1100);
  rig.ticks(50);
  CHECK(rig.c.status.state == wire::State::ready);
}

TEST(lease_of_zero_gives_everything_back) {
  Rig rig;
  rig.go_live(1000);
  CHECK(!rig.board.drive.element_feed);
  rig.want.cooling = 1;
  rig.want.element_code[0] = 800;
  rig.tick();
  CHECK(rig.board.drive.cooling && rig.board.drive.element_feed);
  rig.hold = false;
  rig.say(rig.answer(0));
  rig.pass();
  CHECK(rig.c.status.state == wire::State::ready);
  CHECK(!rig.board.drive.heater && !rig.board.drive.stirrer);
  CHECK(!rig.board.drive.cooling && !rig.board.drive.element_feed);
  rig.ticks(11);
  CHECK(!rig.board.drive.contactor);
}

TEST(sample_tells_why_live_ended) {
  Rig rig;
  CHECK_EQUAL(rig.c.sample.stop_reason, uint8_t(wire::StopReason::none));
  rig.go_live(0);
  CHECK_EQUAL(rig.c.sample.stop_reason, uint8_t(wire::StopReason::none));
  rig.hold = false;
  rig.say(rig.answer(0));
  rig.ticks(2);
  CHECK_EQUAL(rig.c.sample.stop_reason, uint8_t(wire::StopReason::released));
  rig.go_live(0);
  CHECK_EQUAL(rig.c.sample.stop_reason, uint8_t(wire::StopReason::none));
  rig.hold = false;
  rig.ticks(25);
  CHECK_EQUAL(rig.c.sample.stop_reason, uint8_t(wire::StopReason::lease_over));
  rig.go_live(0);
  estop(rig);
  rig.ticks(2);
  CHECK_EQUAL(rig.c.sample.stop_reason, uint8_t(wire::StopReason::none));
}

TEST(demand_within_the_second_keeps_the_contactor) {
  Rig rig;
  rig.go_live(0);
  rig.say(rig.answer(0));
  rig.pass();
  rig.ticks(5);
  CHECK(rig.live());
  rig.ticks(20);
  CHECK(rig.board.drive.contactor);
}

TEST(heat_waits_for_three_seconds_of_stirring) {
  Rig rig;
  rig.hold = true;
  rig.want.lease_ms = 2000;
  rig.want.duty = 1000;
  rig.want.stirrer = 1;
  rig.ticks(29);
  CHECK_EQUAL(rig.c.status.heater_on_ms, 0u);
  rig.ticks(5);
  CHECK(rig.board.drive.heater);
  rig.want.stirrer = 0;
  rig.ticks(2);
  CHECK(!rig.board.drive.heater);
}

TEST(duty_is_kept_to_a_thousandth) {
  for (const int duty : {1, 7, 333, 500, 999}) {
    Rig rig;
    rig.go_live(0);
    const uint32_t before_ms = rig.c.status.heater_on_ms;
    rig.want.duty = uint16_t(duty);
    rig.ticks(1000);
    const int on_ms = int(rig.c.status.heater_on_ms - before_ms);
    CHECK(on_ms >= 100 * duty - 200 && on_ms <= 100 * duty);
  }
}

TEST(first_reason_is_kept) {
  Rig rig;
  rig.go_live(500);
  estop(rig);
  const uint16_t number = rig.c.trip.number;
  rig.disturb = [](plant::Signals& s) { s.level_ok = false; };
  rig.ticks(30);
  CHECK(rig.tripped_by(TripReason::emergency_stop));
  CHECK_EQUAL(rig.c.trip.number, number);
}

TEST(trip_is_told_at_once_and_in_every_sample) {
  Rig rig;
  rig.go_live(0);
  rig.heard();
  rig.guard_code = rig.bath_code = 11251;
  rig.ticks(3);
  std::string all;
  for (const std::string& line : rig.heard()) all += line + '\n';
  const std::string notice = "trip " + std::to_string(rig.c.trip.number) + " 6 45004 45000 #";
  CHECK(all.find(notice) != std::string::npos);
  rig.ticks(5);
  CHECK_EQUAL(rig.c.sample.trip_reason, uint8_t(TripReason::bath_over_limit));
  CHECK_EQUAL(rig.c.sample.state, uint8_t(wire::State::tripped));
}

TEST(tripped_takes_no_demand) {
  Rig rig;
  estop(rig);
  rig.tick();
  rig.heard();
  rig.say(rig.answer());
  rig.tick();
  CHECK(refused(rig, wire::Word::demand, RefusedReason::wrong_state));
  CHECK(rig.outputs_off());
}

TEST(clear_needs_the_right_number_and_the_cause_gone) {
  Rig rig;
  rig.disturb = [](plant::Signals& s) { s.level_ok = false; };
  rig.ticks(12);
  CHECK(rig.tripped_by(TripReason::level_low));
  const uint16_t number = rig.c.trip.number;
  rig.say(wire::Clear{number});
  rig.tick();
  CHECK(refused(rig, wire::Word::clear, RefusedReason::cause_present));
  rig.disturb = nullptr;
  rig.tick();
  rig.say(wire::Clear{uint16_t(number + 1)});
  rig.tick();
  CHECK(refused(rig, wire::Word::clear, RefusedReason::wrong_trip));
  rig.say(wire::Clear{number});
  rig.tick();
  CHECK(rig.c.status.state == wire::State::ready);
  rig.say(wire::Clear{number});
  rig.tick();
  CHECK(refused(rig, wire::Word::clear, RefusedReason::wrong_state));
}

TEST(any_cause_that_stands_keeps_the_trip) {
  Rig rig;
  estop(rig);
  rig.guard_code = 0;
  rig.tick();
  rig.say(wire::Clear{rig.c.trip.number});
  rig.tick();
  CHECK(refused(rig, wire::Word::clear, RefusedReason::cause_present));
  CHECK(rig.tripped_by(TripReason::emergency_stop));
}

TEST(cleared_bench_heats_again) {
  Rig rig;
  rig.go_live(1000);
  estop(rig);
  rig.say(wire::Clear{rig.c.trip.number});
  rig.ticks(2);
  rig.go_live(1000);
  CHECK(rig.board.drive.heater);
}

TEST(millis_that_wrap_change_nothing) {
  Rig rig(uint32_t(-12000));
  rig.go_live(500);
  rig.ticks(300);
  CHECK(rig.live());
  CHECK(rig.now_ms < 100000u);
  Rig late(uint32_t(-7000));
  late.go_live(1000);
  late.hold = false;
  CHECK(late.board.drive.heater);
  while (late.board.drive.heater) late.pass();
  const int heat_ms = int(late.now_ms - late.c.demand_ms);
  CHECK(heat_ms >= 2000 && heat_ms <= 2100);
  while (late.board.drive.contactor) late.pass();
  CHECK(late.c.status.state == wire::State::ready);
}
