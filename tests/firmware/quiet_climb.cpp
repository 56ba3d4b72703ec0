// The slow back-up for a welded path: a climb with everything off, and what is no such climb.

#include "check.h"
#include "rig.h"

using wire::TripReason;

namespace {

constexpr double codes_per_k = 31.5;  // IEC 60751 near 57 degC, 400 ohm reference

// Heats briefly, then leaves the heater off for `quiet_s` with the stirrer on.
void heat_then_wait(Rig& rig, int quiet_s) {
  rig.go_live(1000);
  rig.ticks(10);
  rig.want.duty = 0;
  rig.ticks(quiet_s * 10);
}

void climb(Rig& rig, double k, int ticks) {
  for (int i = 0; i < ticks && rig.live(); ++i) {
    rig.bath_code += k * codes_per_k / ticks;
    rig.guard_code += k * codes_per_k / ticks;
    rig.tick();
  }
  rig.ticks(100);
}

}  // namespace

TEST(climb_of_more_than_half_a_kelvin_while_off) {
  Rig rig;
  heat_then_wait(rig, 150);
  climb(rig, 0.6, 600);
  CHECK(rig.tripped_by(TripReason::climb_while_off));
  CHECK(rig.outputs_off());
}

TEST(climb_of_less_than_half_a_kelvin_while_off) {
  Rig rig;
  heat_then_wait(rig, 150);
  climb(rig, 0.4, 600);
  CHECK(rig.live());
}

TEST(climb_while_off_counts_from_the_lowest) {
  Rig rig;
  heat_then_wait(rig, 150);
  climb(rig, -3.0, 600);
  CHECK(rig.live());
  climb(rig, 0.6, 600);
  CHECK(rig.tripped_by(TripReason::climb_while_off));
}

TEST(afterheat_of_the_sheath_is_no_climb_while_off) {
  Rig rig;
  heat_then_wait(rig, 10);
  climb(rig, 2.0, 900);
  CHECK(rig.live());
}

TEST(heat_from_elements_is_no_climb_while_off) {
  Rig rig;
  heat_then_wait(rig, 150);
  rig.want.element_code[2] = 1000;
  climb(rig, 2.0, 3000);
  CHECK(rig.live());
}

TEST(warm_bath_that_climbs_after_a_boot_without_any_heat) {
  Rig rig;
  rig.go_live(0);
  climb(rig, 2.0, 1100);  // within 120 s of the boot
  CHECK(rig.live());
  rig.ticks(300);
  climb(rig, 0.6, 600);
  CHECK(rig.tripped_by(TripReason::climb_while_off));
}

TEST(cold_bath_may_warm_toward_the_room) {
  Rig rig;
  rig.bath_code = rig.guard_code = 8900;  // 22 degC
  heat_then_wait(rig, 150);
  climb(rig, 4.0, 6000);
  CHECK(rig.live());
}

TEST(element_heat_counts_for_a_minute_after_its_end) {
  for (const int since_s : {50, 70}) {
    Rig rig;
    heat_then_wait(rig, 150);
    rig.want.element_code[2] = 1000;
    rig.ticks(20);
    rig.want.element_code[2] = 0;
    rig.ticks(since_s * 10 - 200);
    // The look begins at 60 s and takes its first mean from 10 s.
    climb(rig, 2.0, 200);
    climb(rig, 0.4, 200);
    CHECK_EQUAL(rig.live(), since_s == 50);
  }
}

TEST(restarted_stirrer_mixes_for_a_minute) {
  for (const int since_s : {50, 70}) {
    Rig rig;
    heat_then_wait(rig, 150);
    rig.want.stirrer = 0;
    rig.ticks(20);
    rig.want.stirrer = 1;
    rig.ticks(since_s * 10 - 200);
    climb(rig, 2.0, 200);
    climb(rig, 0.4, 200);
    CHECK_EQUAL(rig.live(), since_s == 50);
  }
}

TEST(still_bath_is_not_judged) {
  Rig rig;
  heat_then_wait(rig, 150);
  rig.want.stirrer = 0;
  climb(rig, 2.0, 3000);
  CHECK(rig.live());
}
