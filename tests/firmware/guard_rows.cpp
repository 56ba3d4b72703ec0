// Each trip row of the guard table at its level and persistence: just short of it nothing happens,
// at it everything goes off in the same tick.

#include "check.h"
#include "rig.h"

using wire::TripReason;

namespace {

constexpr int soon_ms = 100;  // the latest a cause's outputs may still be on

// The condition set by `disturb` from now on trips after `limit_ms`, not before.
void check_lasting(Rig& rig, TripReason reason, int limit_ms,
                   std::function<void(plant::Signals&)> wrong) {
  rig.disturb = wrong;
  CHECK_EQUAL(rig.ms_to_trip(limit_ms - scan_ms), -1);
  rig.disturb = nullptr;
  CHECK_EQUAL(rig.ms_to_trip(1000), -1);
  rig.disturb = wrong;
  const int ms = rig.ms_to_trip(limit_ms + soon_ms);
  CHECK(ms >= limit_ms && ms <= limit_ms + soon_ms);
  CHECK(rig.tripped_by(reason));
  CHECK(rig.outputs_off());
}

// A probe condition trips with its third sample in a row.
void check_third_sample(TripReason reason, std::function<void(Rig&, bool)> wrong) {
  Rig rig;
  rig.bath_code = rig.guard_code = 11249;
  rig.go_live(0);
  wrong(rig, true);
  CHECK_EQUAL(rig.ticks_to_trip(2), -1);
  wrong(rig, false);
  CHECK_EQUAL(rig.ticks_to_trip(5), -1);
  wrong(rig, true);
  CHECK_EQUAL(rig.ticks_to_trip(10), 3);
  CHECK(rig.tripped_by(reason));
  CHECK(rig.outputs_off());
}

// Sum counts a kelvin near 57 degC, IEC 60751: 100 (3.9083e-3 - 2 * 5.775e-7 * 57) * 327.68.
constexpr double sum_per_k = 125.9;

void heat_up(Rig& rig, double rate_k_per_min, int ticks, double noise_codes) {
  for (int i = 0; i < ticks && !rig.c.trip.reason; ++i) {
    const double rise = rate_k_per_min / 600.0 * sum_per_k / 4.0;
    const double noise = noise_codes * (i % 3 - 1);
    rig.bath_code += rise + noise;
    rig.guard_code += rise;
    rig.tick();
    rig.bath_code -= noise;
  }
}

}  // namespace

TEST(bath_over_limit_by_one_count) {
  Rig at_limit;
  at_limit.bath_code = at_limit.guard_code = 11250;
  at_limit.go_live(0);
  CHECK_EQUAL(at_limit.ticks_to_trip(50), -1);
  check_third_sample(TripReason::bath_over_limit,
                     [](Rig& r, bool on) { r.bath_code = on ? 11251 : 11249; });
}

TEST(guard_over_limit_by_one_count) {
  check_third_sample(TripReason::guard_over_limit, [](Rig& r, bool on) {
    r.c.limits.guard_limit_sum = 4 * 11249;
    r.guard_code = on ? 11250 : 11249;
  });
}

TEST(bath_probe_open_is_no_hot_bath) {
  check_third_sample(TripReason::bath_probe_fault,
                     [](Rig& r, bool on) { r.bath_code = on ? 1e9 : 11249; });
}

TEST(bath_probe_shorted) {
  check_third_sample(TripReason::bath_probe_fault,
                     [](Rig& r, bool on) { r.bath_code = on ? 0 : 11249; });
}

TEST(bath_probe_implausibly_cold) {
  check_third_sample(TripReason::bath_probe_fault,
                     [](Rig& r, bool on) { r.bath_code = on ? 7549 : 11249; });
}

TEST(guard_probe_open) {
  check_third_sample(TripReason::guard_probe_fault,
                     [](Rig& r, bool on) { r.guard_code = on ? 1e9 : 11249; });
}

TEST(guard_probe_shorted) {
  check_third_sample(TripReason::guard_probe_fault,
                     [](Rig& r, bool on) { r.guard_code = on ? 0 : 11249; });
}

TEST(converter_is_configured_again_after_one_loss) {
  Rig rig;
  rig.go_live(0);
  rig.board.bus = devices::Bus();
  rig.tick();
  CHECK_EQUAL(rig.c.sample.bath_fault, rtd_fault_converter);
  rig.ticks(2);
  CHECK_EQUAL(rig.c.sample.bath_fault, 0);
  CHECK_EQUAL(rig.c.sample.bath_sum, 40000u);
  CHECK(rig.live());
}

TEST(probes_disagree_for_three_seconds) {
  Rig rig;
  rig.go_live(0);
  rig.guard_code = warm_code + 126;  // 504: at the limit
  CHECK_EQUAL(rig.ticks_to_trip(60), -1);
  rig.guard_code = warm_code - 127;
  CHECK_EQUAL(rig.ticks_to_trip(29), -1);
  rig.guard_code = warm_code;
  rig.tick();
  rig.guard_code = warm_code - 127;
  CHECK_EQUAL(rig.ticks_to_trip(40), 30);
  CHECK(rig.tripped_by(TripReason::probes_disagree));
  CHECK(rig.outputs_off());
  CHECK_EQUAL(rig.c.trip.value, 508u);
  CHECK_EQUAL(rig.c.trip.limit, 504u);
}

namespace {

// Stirred for a minute, with a limit of 1.5 K (189 counts) and probes of which one is 10 s slower.
void stir(Rig& rig, uint8_t lag_s = 0) {
  rig.c.limits.disagree_limit_sum = 189;
  rig.c.limits.probe_lag_s = lag_s;
  rig.go_live(0);
  rig.ticks(600);
}

// Ticks to the trip with the guard probe so many codes above the bath's, of four a sum, or -1.
int ticks_apart(Rig& rig, int codes, int most = 60) {
  rig.guard_code = rig.bath_code + codes;
  return rig.ticks_to_trip(most);
}

}  // namespace

TEST(probes_disagree_by_the_hosts_limit_once_stirred_for_a_minute) {
  Rig rig;
  stir(rig);
  CHECK_EQUAL(ticks_apart(rig, 47), -1);   // 188
  CHECK_EQUAL(ticks_apart(rig, 48, 29), -1);
  CHECK_EQUAL(ticks_apart(rig, 0, 1), -1);
  CHECK_EQUAL(ticks_apart(rig, -48), 30);
  CHECK(rig.tripped_by(TripReason::probes_disagree));
  CHECK_EQUAL(rig.c.trip.value, 192u);
  CHECK_EQUAL(rig.c.trip.limit, 189u);
}

TEST(probes_of_a_bath_not_stirred_for_a_minute_have_the_wide_level) {
  for (const int codes : {126, 127}) {  // 504: 4 K
    Rig still;
    still.c.limits.disagree_limit_sum = 189;
    CHECK_EQUAL(ticks_apart(still, codes) > 0, codes == 127);
    Rig young;
    young.c.limits.disagree_limit_sum = 189;
    young.go_live(0);
    young.ticks(500);
    CHECK_EQUAL(ticks_apart(young, codes) > 0, codes == 127);
  }
}

TEST(bench_that_tripped_on_its_probes_is_clear_within_the_wide_level) {
  Rig rig;
  stir(rig);
  CHECK_EQUAL(ticks_apart(rig, 100), 30);  // 3.2 K
  rig.hold = false;
  rig.ticks(20);
  rig.say(wire::Clear{rig.c.trip.number});
  rig.tick();
  CHECK(!rig.c.trip.reason);
}

TEST(difference_is_counted_from_the_offset) {
  for (const int offset : {-200, 0, 200}) {
    Rig rig;
    rig.c.limits.disagree_offset_sum = uint16_t(wire::offset_middle + offset);
    rig.guard_code = warm_code - offset / 4;
    stir(rig);
    rig.ticks(60);
    CHECK(rig.live());
    rig.guard_code -= 48;
    CHECK_EQUAL(rig.ticks_to_trip(60), 30);
  }
}

// A probe that lags by 10 s falls behind by 0.5 K, 63 counts, in a ramp of 3 K/min; with the 172
// it differs by at rest that is more than the limit alone allows.
TEST(lag_times_rate_is_allowed_while_the_bath_moves_and_until_the_slow_probe_is_there) {
  for (const int lag_s : {0, 10}) {
    Rig rig;
    stir(rig, uint8_t(lag_s));
    rig.want.duty = 500;
    double behind = 0;
    const auto ramp = [&](double rate_k_per_min, int ticks) {
      for (int i = 0; i < ticks && rig.live(); ++i) {
        const double rise = rate_k_per_min / 600.0 * sum_per_k / 4.0;
        behind += rise - behind / 100.0;
        rig.bath_code += rise;
        rig.guard_code = rig.bath_code - behind - 43.0;
        rig.tick();
      }
    };
    ramp(0.0, 100);
    CHECK(rig.live());
    ramp(3.0, 900);
    ramp(0.0, 900);
    CHECK_EQUAL(rig.live(), lag_s == 10);
    ramp(0.0, 6000);
    if (lag_s == 0) continue;
    rig.guard_code -= 7;
    CHECK(rig.ticks_to_trip(2000) > 0);  // 200: the allowance has died away
  }
}

TEST(no_jump_of_a_probe_opens_the_level_beyond_its_ceiling) {
  Rig rig;
  stir(rig, 120);
  CHECK_EQUAL(ticks_apart(rig, 130), 30);  // 520, ceiling 4.1 K: 517
  CHECK_EQUAL(rig.c.trip.limit, 517u);
}

TEST(climb_below_the_limit_with_noise) {
  Rig rig;
  rig.go_live(0);
  heat_up(rig, 14.0, 600, 2.0);
  CHECK(rig.live());
}

TEST(climb_above_the_limit_within_ten_seconds) {
  Rig rig;
  rig.go_live(0);
  heat_up(rig, 0.0, 120, 2.0);
  const uint32_t begin = rig.c.sample.sequence;
  heat_up(rig, 16.5, 600, 2.0);
  CHECK(rig.tripped_by(TripReason::climb_too_fast));
  CHECK(rig.outputs_off());
  const uint32_t took = rig.c.sample.sequence - begin;
  CHECK(took >= 90 && took <= 120);
}

TEST(climb_is_judged_in_live_only) {
  Rig rig;
  heat_up(rig, 20.0, 300, 0.0);
  CHECK(rig.c.status.state == wire::State::ready);
}

TEST(layers_mixed_by_a_started_stirrer_are_no_climb) {
  for (const int still_ticks : {0, 295, 305}) {  // since the boot; 29.5 and 30.5 s after a stir
    Rig rig;
    if (still_ticks) {
      rig.go_live(0);
      rig.ticks(100);
      rig.say(rig.answer(0));
      rig.hold = false;
      rig.ticks(still_ticks);
    }
    rig.hold = true;
    rig.want.lease_ms = 2000;
    rig.want.stirrer = 1;
    rig.ticks(5);
    rig.bath_code += 126;
    rig.guard_code += 126;
    CHECK_EQUAL(rig.ticks_to_trip(300) > 0, still_ticks == 295);
  }
}

TEST(lease_lost_again_and_again_hides_no_climb) {
  Rig rig;
  rig.go_live(0);
  for (int i = 0; i < 400 && !rig.c.trip.reason; ++i) {
    rig.hold = i % 40 < 15;  // lease over for half a second in each 4 s
    heat_up(rig, 16.5, 1, 0.0);
  }
  CHECK(rig.tripped_by(TripReason::climb_too_fast));
}

TEST(one_disturbed_sample_is_no_climb) {
  Rig rig;
  rig.go_live(0);
  rig.ticks(150);
  rig.disturb = [](plant::Signals& s) { s.probe_ohm[0] = 1e9; };
  rig.tick();
  rig.disturb = nullptr;
  CHECK_EQUAL(rig.ticks_to_trip(300), -1);
}

TEST(heater_live_200_ms_after_off) {
  Rig rig;
  rig.go_live(0);
  check_lasting(rig, TripReason::heater_welded, 200,
                [](plant::Signals& s) { s.heater_live = true; });
}

TEST(heater_welded_is_found_without_a_demand) {
  Rig rig;
  check_lasting(rig, TripReason::heater_welded, 200,
                [](plant::Signals& s) { s.heater_live = true; });
}

TEST(heater_dead_500_ms_after_on) {
  Rig rig;
  rig.go_live(0);
  rig.want.duty = 1000;
  rig.tick();
  CHECK(rig.board.drive.heater);
  check_lasting(rig, TripReason::heater_open, 500,
                [](plant::Signals& s) { s.heater_live = false; });
}

TEST(heater_dead_at_a_low_duty_is_found_by_its_on_time) {
  Rig rig;
  rig.go_live(0);
  rig.want.duty = 100;
  rig.disturb = [](plant::Signals& s) { s.heater_live = false; };
  const int ticks = rig.ticks_to_trip(100);
  CHECK(ticks >= 41 && ticks <= 60);
  CHECK(rig.tripped_by(TripReason::heater_open));
}

TEST(contactor_mirror_says_open_while_driven) {
  Rig rig;
  rig.go_live(0);
  check_lasting(rig, TripReason::contactor_mirror, 500,
                [](plant::Signals& s) { s.contactor_open = true; });
}

TEST(contactor_mirror_says_closed_while_not_driven) {
  Rig rig;
  check_lasting(rig, TripReason::contactor_mirror, 500,
                [](plant::Signals& s) { s.contactor_open = false; });
}

TEST(level_low_for_a_second) {
  Rig rig;
  rig.go_live(500);
  check_lasting(rig, TripReason::level_low, 1000, [](plant::Signals& s) { s.level_ok = false; });
}

TEST(stirrer_not_turning_for_two_seconds) {
  Rig rig;
  rig.go_live(500);
  check_lasting(rig, TripReason::stirrer_stopped, 2000,
                [](plant::Signals& s) { s.stirrer_turning = false; });
}

TEST(stirrer_that_never_turns) {
  Rig rig;
  rig.disturb = [](plant::Signals& s) { s.stirrer_turning = false; };
  rig.hold = true;
  rig.want = rig.answer();
  rig.want.duty = 1000;
  rig.want.stirrer = 1;
  const int ticks = rig.ticks_to_trip(40);
  CHECK(ticks >= 20 && ticks <= 22);
  CHECK_EQUAL(rig.c.status.heater_on_ms, 0u);
}

TEST(stirrer_that_turns_now_and_then_allows_no_heat) {
  Rig rig;
  rig.go_live(0);
  int passes = 0;
  rig.disturb = [&passes](plant::Signals& s) { s.stirrer_turning = ++passes % 100 < 60; };
  rig.want.duty = 1000;
  rig.ticks(25);
  const uint32_t before_ms = rig.c.status.heater_on_ms;
  CHECK_EQUAL(rig.ticks_to_trip(300), -1);
  CHECK_EQUAL(rig.c.status.heater_on_ms, before_ms);
}

TEST(emergency_stop_at_the_second_look) {
  Rig rig;
  rig.go_live(1000);
  CHECK(rig.board.drive.heater);
  rig.disturb = [](plant::Signals& s) { s.emergency_stop_closed = false; };
  rig.pass();
  CHECK(rig.live());
  rig.pass();
  CHECK(rig.tripped_by(TripReason::emergency_stop));
  CHECK(rig.outputs_off());
}

TEST(emergency_stop_that_one_look_sees_is_a_spike) {
  Rig rig;
  rig.go_live(1000);
  for (int i = 0; i < 20; ++i) {
    rig.disturb = [](plant::Signals& s) { s.emergency_stop_closed = false; };
    rig.pass();
    rig.disturb = nullptr;
    rig.pass();
  }
  CHECK(rig.live());
}

TEST(rotation_that_is_read_five_seconds_after_the_drive_went_off) {
  Rig rig;
  rig.go_live(0);
  rig.want.stirrer = 0;
  rig.tick();
  CHECK(!rig.board.drive.stirrer);
  check_lasting(rig, TripReason::stirrer_sense, 5000,
                [](plant::Signals& s) { s.stirrer_turning = true; });
}

TEST(rotation_is_read_in_ready_too) {
  Rig rig;
  check_lasting(rig, TripReason::stirrer_sense, 5000,
                [](plant::Signals& s) { s.stirrer_turning = true; });
}

namespace {

void heater_flows(plant::Signals& s) { s.heater_live = true; }

void element_flows(plant::Signals& s) { s.current_ratio[4] = 200 / 4095.0; }  // 100 mA

// Latched by a lesser cause, with everything off: what flows from now on escalates after a second.
void check_escalates(void (*flows)(plant::Signals&)) {
  Rig rig;
  rig.go_live(0);
  rig.disturb = [](plant::Signals& s) { s.level_ok = false; };
  CHECK(rig.ms_to_trip(2000) > 0);
  rig.ticks(10);
  const uint16_t number = rig.c.trip.number;
  rig.disturb = [flows](plant::Signals& s) { s.level_ok = false, flows(s); };
  rig.ticks(9);
  CHECK(rig.tripped_by(TripReason::level_low));
  rig.disturb = nullptr;
  rig.ticks(2);
  rig.disturb = [flows](plant::Signals& s) { s.level_ok = false, flows(s); };
  rig.heard();
  rig.ticks(13);
  CHECK(rig.tripped_by(TripReason::off_failed));
  CHECK_EQUAL(rig.c.trip.number, number + 1);
  CHECK_EQUAL(rig.c.trip.limit, 1000u);
  CHECK(rig.board.drive.horn);
  CHECK(rig.outputs_off());
  int notices = 0;
  for (const std::string& line : rig.heard()) notices += line.compare(0, 5, "trip ") == 0;
  CHECK_EQUAL(notices, 1);
  rig.say(wire::Clear{rig.c.trip.number});
  rig.tick();
  CHECK(rig.tripped_by(TripReason::off_failed));

  rig.disturb = nullptr;
  rig.ticks(2);
  CHECK(!rig.board.drive.horn);
  CHECK(rig.tripped_by(TripReason::off_failed));  // latched as every trip
  rig.boot(wire::BootCause::external);
  CHECK(rig.tripped_by(TripReason::off_failed));
  CHECK_EQUAL(rig.c.trip.number, number + 1);
}

}  // namespace

TEST(heater_current_that_goes_on_after_a_trip_escalates) { check_escalates(heater_flows); }

TEST(element_current_that_goes_on_after_a_trip_escalates) { check_escalates(element_flows); }

TEST(element_current_below_what_is_judged_does_not_escalate) {
  Rig rig;
  rig.disturb = [](plant::Signals& s) { s.current_ratio[4] = 199 / 4095.0; };
  rig.ticks(50);
  CHECK(!rig.c.trip.reason);
}

TEST(escalation_replaces_no_trip_of_a_self_test) {
  const struct {
    TripReason reason;
    bool replaced;
  } rows[] = {{TripReason::program_memory, false},    {TripReason::part_read_back, false},
              {TripReason::reference_channel, false}, {TripReason::stack_overrun, false},
              {TripReason::program_flow, false},      {TripReason::clocks_disagree, false},
              {TripReason::power_on, true},           {TripReason::heater_welded, true},
              {TripReason::emergency_stop, true},     {TripReason::stirrer_sense, true}};
  for (const auto& row : rows) {
    Rig rig;
    rig.c.guard.own(row.reason, true, 0, 0);
    rig.pass();
    CHECK(rig.tripped_by(row.reason));
    rig.disturb = heater_flows;
    rig.ticks(15);
    CHECK(rig.tripped_by(row.replaced ? TripReason::off_failed : row.reason));
    CHECK(rig.board.drive.horn);
  }
}

TEST(heater_relay_that_opens_late_sounds_no_horn) {
  Rig rig;
  rig.go_live(1000);
  rig.say(rig.answer(0));
  rig.hold = false;
  rig.disturb = heater_flows;
  for (int i = 0; i < 7; ++i) {
    rig.pass();
    CHECK(!rig.board.drive.horn);
  }
  rig.disturb = nullptr;
  rig.ticks(20);
  CHECK(!rig.c.trip.reason);
}

TEST(sample_tells_every_cause_that_stands) {
  Rig rig;
  rig.go_live(0);
  CHECK_EQUAL(rig.c.sample.causes, 0u);
  rig.disturb = [](plant::Signals& s) { s.level_ok = s.emergency_stop_closed = false; };
  rig.ticks(3);
  CHECK(rig.tripped_by(TripReason::emergency_stop));
  CHECK_EQUAL(rig.c.sample.causes, 1u << int(TripReason::emergency_stop) |
                                       1u << int(TripReason::level_low));
  rig.disturb = nullptr;
  rig.ticks(2);
  CHECK_EQUAL(rig.c.sample.causes, 0u);
  CHECK(rig.tripped_by(TripReason::emergency_stop));
}

TEST(current_through_a_station_that_is_off) {
  Rig rig;
  rig.go_live(0);
  rig.disturb = [](plant::Signals& s) { s.current_ratio[3] = 199 / 4095.0; };  // 99.5 mA
  CHECK_EQUAL(rig.ticks_to_trip(50), -1);
  rig.disturb = [](plant::Signals& s) { s.current_ratio[3] = 200 / 4095.0; };  // 100 mA
  CHECK_EQUAL(rig.ticks_to_trip(50), 1);
  CHECK(rig.tripped_by(TripReason::element_feed_stuck));
}

TEST(current_that_stays_half_a_second_after_off) {
  Rig rig;
  rig.go_live(0);
  rig.want.element_code[0] = 1000;
  rig.ticks(20);
  rig.want.element_code[0] = 0;
  rig.disturb = [](plant::Signals& s) { s.current_ratio[0] = 1000 / 4095.0; };
  const int ticks = rig.ticks_to_trip(20);
  CHECK(ticks == 5 || ticks == 6);
  CHECK(rig.tripped_by(TripReason::element_feed_stuck));
}

namespace {

Sums healthy_sums() {
  Sums sums;
  for (int i = 0; i < 3; ++i) sums.reference[i] = board::reference_code[i];
  return sums;
}

}  // namespace

TEST(plausible_window_is_judged_whatever_the_converter_says) {
  // -20 and 160 degC by IEC 60751: 92.160 and 161.054 ohm, as sums of four codes of R/400.
  const struct {
    uint32_t sum;
    bool believed;
  } rows[] = {{30198, false}, {30199, true}, {52774, true}, {52775, false}};
  for (const auto& row : rows) {
    Guard guard;
    Sums sums = healthy_sums();
    sums.bath = sums.guard = row.sum;
    wire::Limits limits = limits_greatest();
    limits.bath_limit_sum = limits.guard_limit_sum = 131068;
    for (int i = 0; i < 3; ++i) guard.judge(Status(), sums, limits, Elements(), 1000);
    const bool fault = guard.take_cause().reason == TripReason::bath_probe_fault;
    CHECK_EQUAL(fault, !row.believed);
  }
}

TEST(climb_of_exactly_the_limit) {
  for (const uint32_t rise : {315u, 316u}) {
    Guard guard;
    Status status;
    status.state = wire::State::live;
    Sums sums = healthy_sums();
    sums.bath = sums.guard = 40000;
    for (int i = 0; i < 100; ++i) guard.judge(status, sums, usual_limits(), Elements(), 1000);
    sums.bath = sums.guard = 40000 + rise;
    for (int i = 0; i < 10; ++i) guard.judge(status, sums, usual_limits(), Elements(), 1000);
    CHECK_EQUAL(guard.take_cause().reason == TripReason::climb_too_fast, rise > 315);
  }
}

TEST(heater_on_limit_counts_on_time_since_the_contactor_closed) {
  Rig rig;
  rig.c.limits.heater_on_limit_s = 5;
  rig.go_live(500);
  const uint32_t before_ms = rig.c.status.heater_on_ms;
  const int ticks = rig.ticks_to_trip(200);
  CHECK(ticks > 0);
  CHECK(rig.tripped_by(TripReason::heater_on_limit));
  CHECK(rig.outputs_off());
  CHECK(rig.c.status.heater_on_ms > 5000 && rig.c.status.heater_on_ms <= 5100);
  CHECK(before_ms < 1000);
}

TEST(heater_on_limit_begins_anew_with_the_contactor) {
  Rig rig;
  rig.c.limits.heater_on_limit_s = 5;
  rig.go_live(1000);
  rig.ticks(10);
  rig.hold = false;
  rig.ticks(40);
  CHECK(!rig.board.drive.contactor);
  rig.go_live(1000);
  rig.ticks(20);
  CHECK(rig.live());
  CHECK(rig.c.status.heater_on_ms > 5000);
}
