// Heat that must be seen and cores that must not run away, at their levels and just below.

#include "../../firmware/rig_controller/hot_core.h"
#include "../../firmware/rig_controller/unseen.h"
#include "check.h"
#include "rig.h"

namespace {

// 600 counts in 100 s of on-time: full heat is 60 counts a step of 10 s.
wire::Limits known_bath(uint8_t delay_s) {
  wire::Limits limits = usual_limits();
  limits.heat_rise_sum = 600;
  limits.heat_delay_s = delay_s;
  return limits;
}

// Steps of 10 s at full heat until it is missed, or -1; both probes rise by so many counts a step.
int steps_to_stop(Unseen& unseen, const wire::Limits& limits, int bath, int guard, int most = 60,
                  bool cooling = false, int on_ms = 100) {
  uint32_t on = 0;
  for (int i = 0; i < most * 100; ++i) {
    on += on_ms;
    if (unseen.add(limits, on, uint32_t(40000 + i / 100 * bath), uint32_t(40000 + i / 100 * guard),
                   cooling))
      return i / 100;
  }
  return -1;
}

// Seconds to a hot core of 10 ohm at 1 A (8000 counts a tick; 10 W), grown by so much, or -1.
int seconds_to_hot(HotCore& core, double grown, uint8_t per_k, int bath_rise_sum = 0,
                   int most_s = 20) {
  for (int tick = 1; tick <= most_s * 10; ++tick)
    if (core.hot(8000, uint16_t(8000 * (1 + grown) + 0.5), uint32_t(40000 + bath_rise_sum), per_k))
      return (tick + 9) / 10;
  return -1;
}

// Whether a core is hot within so many seconds; the voltage's fraction of a count is spread over the
// ticks, so that a whole second's sum is right to the count.
bool gets_hot(HotCore& core, uint16_t current, double grown, int seconds) {
  const double counts = current * (1 + grown);
  uint32_t given = 0;
  for (int tick = 1; tick <= seconds * 10; ++tick) {
    const uint32_t now = uint32_t(counts * tick + 0.5) - given;
    given += now;
    if (core.hot(current, uint16_t(now), 40000, 20)) return true;
  }
  return false;
}

HotCore begun(uint8_t per_k) {
  HotCore core;
  core.feed(false);
  for (int tick = 0; tick < 3; ++tick) core.hot(8000, 8000, 40000, per_k);
  return core;
}

// Station 1 at 1 A and 10 ohm, judged with a core of 20e-5 per K.
struct Fed {
  Fed() {
    for (int s = 0; s < wire::stations; ++s) limits.element_per_k[s] = 20;
    for (uint16_t& lift : sums.lift) lift = 2000;
  }
  void feed(bool on, uint32_t ms) {
    const uint16_t codes[board::stations] = {uint16_t(on ? 2000 : 0)};
    elements.set(codes, ms);
  }
  // Of 10 ohm, grown by so much.
  void tick(double grown, uint32_t ms) {
    sums.current[0] = 8000;
    sums.voltage[0] = uint16_t(8000 * (1 + grown) + 0.5);
    elements.judge(sums, limits, ms);
  }
  // The ticks from `ms` on; whether the core is hot at their end.
  bool hot_after(double grown, uint32_t ms, int ticks) {
    for (int i = 0; i < ticks; ++i) tick(grown, ms + 100 * i);
    return elements.flags(0) == uint8_t(wire::StationFlag::element_hot);
  }

  Rig rig;  // whose board the elements drive
  wire::Limits limits = usual_limits();
  Sums sums;
  Elements elements;
};

}  // namespace

// 2 K are 252 counts: 5 steps of 60 at full heat; the first step after a boot is not counted.
TEST(heat_of_two_kelvin_that_no_probe_shows) {
  for (const uint8_t delay_s : {0, 10, 11, 120}) {
    Unseen unseen;
    const int delay_steps = (delay_s + 9) / 10;
    CHECK_EQUAL(steps_to_stop(unseen, known_bath(delay_s), 0, 0), 5 + delay_steps);
  }
  Unseen slow;
  CHECK_EQUAL(steps_to_stop(slow, known_bath(0), 0, 0, 60, false, 34), -1);  // 245 in 120 s
  Unseen enough;
  CHECK(steps_to_stop(enough, known_bath(0), 0, 0, 60, false, 36) > 0);  // 259
}

TEST(a_third_of_the_rise_is_enough_at_the_slower_probe) {
  for (const int counts : {16, 24}) {  // of 20
    Unseen unseen;
    CHECK_EQUAL(steps_to_stop(unseen, known_bath(0), counts, 60) > 0, counts == 16);
    Unseen other;
    CHECK_EQUAL(steps_to_stop(other, known_bath(0), 60, counts) > 0, counts == 16);
  }
}

TEST(heat_that_only_holds_the_bath_need_not_be_seen) {
  wire::Limits limits = known_bath(0);
  limits.heat_loss_duty = 700;  // of 60 counts a step 18 are left: 216 in 120 s
  Unseen unseen;
  CHECK_EQUAL(steps_to_stop(unseen, limits, 0, 0), -1);
  limits.heat_loss_duty = 600;
  Unseen other;
  CHECK(steps_to_stop(other, limits, 0, 0) > 0);
}

TEST(heat_is_not_judged_while_cooled_nor_without_a_known_rise) {
  Unseen cooled;
  CHECK_EQUAL(steps_to_stop(cooled, known_bath(0), 0, 0, 100, true), -1);
  Unseen unknown;
  CHECK_EQUAL(steps_to_stop(unknown, usual_limits(), 0, 0), -1);
}

// 20e-5 x (4 K/W x 10 W + 10 K) + 100e-5 = 0.0110; the power grows with the voltage.
TEST(core_at_its_level) {
  HotCore below = begun(20);
  CHECK_EQUAL(seconds_to_hot(below, 0.0106, 20), -1);
  HotCore above = begun(20);
  CHECK_EQUAL(seconds_to_hot(above, 0.0116, 20), 3);
}

TEST(core_may_warm_with_its_bath) {
  HotCore core = begun(20);  // 10 K, 1260 counts, are 0.0020 more
  CHECK_EQUAL(seconds_to_hot(core, 0.0126, 20, 1260), -1);
  CHECK_EQUAL(seconds_to_hot(core, 0.0136, 20, 1260), 3);
}

TEST(core_hot_for_two_seconds_is_forgiven) {
  HotCore core = begun(20);
  CHECK_EQUAL(seconds_to_hot(core, 0.0150, 20, 0, 2), -1);
  CHECK_EQUAL(seconds_to_hot(core, 0.0050, 20, 0, 1), -1);
  CHECK_EQUAL(seconds_to_hot(core, 0.0150, 20, 0, 2), -1);
}

TEST(core_of_an_unknown_coefficient_is_never_hot) {
  HotCore core = begun(0);
  CHECK_EQUAL(seconds_to_hot(core, 0.3, 0), -1);
}

// Half of the level before a step of current counts behind it too.
TEST(growth_is_carried_over_a_step) {
  HotCore core = begun(20);
  CHECK_EQUAL(seconds_to_hot(core, 0.0080, 20, 0, 5), -1);
  core.step();
  for (int tick = 0; tick < 3; ++tick) core.hot(8000, 8200, 40000, 20);  // offsets: 2.5 %
  for (int tick = 0; tick < 30; ++tick) CHECK(!core.hot(8000, 8200, 40000, 20));
  bool hot = false;
  for (int tick = 0; tick < 30; ++tick) hot |= core.hot(8000, 8240, 40000, 20);  // 0.5 % more
  CHECK(hot);
}

// A power ramp at 10 ohm from 0.2 to 0.9 A in 400 s, while the core warms by 0.03 % in each 4 s: 3 %
// in all, where 20e-5 x (4 K/W x 8.1 W + 10 K) + 100e-5 = 0.0095 are allowed. A ramp keeps its base,
// whatever its way; and the same ramp without growth tells of no heat.
TEST(growth_in_a_ramp_adds_up) {
  for (const double growth : {3e-4, 0.0}) {
    HotCore core;
    core.feed(false);
    bool hot = false;
    for (int tick = 0; tick < 4000 && !hot; ++tick) {
      const double counts = 1600 + 1.4 * tick;
      hot = core.hot(uint16_t(counts), uint16_t(counts * (1 + growth * tick / 40)), 40000, 20);
    }
    CHECK_EQUAL(hot, growth > 0);
  }
}

// 250 mA are 2000 counts; less heats no core, and its noise would tell of heat.
TEST(core_is_judged_from_250_ma_on) {
  for (const uint16_t current : {uint16_t(1992), uint16_t(2000)}) {
    HotCore core;
    core.feed(false);
    bool hot = false;
    for (int tick = 0; tick < 60; ++tick)
      hot |= core.hot(current, uint16_t(tick < 10 ? current : current * 1.05), 40000, 20);
    CHECK_EQUAL(hot, current == 2000);
  }
}

TEST(short_break_keeps_the_base_and_a_long_one_does_not) {
  for (const bool kept : {true, false}) {
    HotCore core = begun(20);
    core.feed(kept);
    CHECK_EQUAL(seconds_to_hot(core, 0.0150, 20) > 0, kept);
  }
}

// The level of 1 A through 10 ohm to the last step of the resistance, which is 6e-5 of it: 20e-5 per
// K x (4 K/W x 10.11 W + 10 K) + 100e-5 = 0.01109.  A kelvin of the 10 K is 0.0002.
TEST(ten_kelvin_and_the_leads_are_allowed_to_the_last_step) {
  HotCore below = begun(20);
  CHECK(!gets_hot(below, 8000, 0.01106, 20));
  HotCore above = begun(20);
  CHECK(gets_hot(above, 8000, 0.01112, 20));
}

// After a short break: 1.1 A are 8800 counts, 100 mA beside the base's 8000, and one more is far.
TEST(base_of_a_current_100_ma_away_still_counts_and_a_farther_one_does_not) {
  for (const uint16_t current : {8800, 8801, 7200, 7199}) {
    HotCore core = begun(20);
    core.feed(true);
    CHECK_EQUAL(gets_hot(core, current, 0.0150, 10), current == 8800 || current == 7200);
  }
}

// A tick of 6 % less in the base of three ticks is 2 % of growth behind it, where 1.1 % are allowed.
TEST(core_is_measured_100_ms_after_its_change) {
  for (const uint32_t first_ms : {1099u, 1100u}) {
    Fed fed;
    fed.feed(true, 1000);
    fed.tick(-0.06, first_ms);
    CHECK_EQUAL(fed.hot_after(0.0, 1200, 60), first_ms == 1100);
  }
}

// 400 mA are 3200 counts. The first three ticks are 1 % low: as a base of their own they make 1 % of
// growth, in that of a whole second 0.3 %; 20e-5 x (4 K/W x 1.6 W + 10 K) + 100e-5 = 0.0043.
TEST(base_is_a_whole_seconds_below_400_ma) {
  for (const uint16_t current : {3199, 3200}) {
    HotCore core;
    core.feed(false);
    for (int tick = 0; tick < 3; ++tick) core.hot(current, uint16_t(current * 0.99 + 0.5), 40000, 20);
    CHECK_EQUAL(gets_hot(core, current, 0.0, 10), current == 3200);
  }
}

// From 10 W to 2.5 W the level falls from 0.0110 toward 0.0050; it passes growth of 0.0080 when the
// power still felt is 6.25 W, half-way: 40 s x ln 2 = 27.7 s. The third second in a row tells.
TEST(core_is_let_40_s_to_cool_when_its_power_falls) {
  HotCore core = begun(20);
  CHECK(!gets_hot(core, 8000, 0.0080, 5));
  core.step();
  int seconds = 0;
  while (seconds < 60 && !gets_hot(core, 4000, 0.0080, 1)) ++seconds;
  CHECK(seconds >= 28 && seconds <= 31);
}

// 1.5 % of growth over the break, where 1.1 % are allowed.
TEST(break_of_less_than_a_minute_keeps_the_base) {
  for (const uint32_t break_ms : {59999u, 60000u}) {
    Fed fed;
    fed.feed(true, 1000);
    CHECK(!fed.hot_after(0.0, 1100, 30));
    fed.feed(false, 5000);
    fed.feed(true, 5000 + break_ms);
    CHECK_EQUAL(fed.hot_after(0.0150, 5100 + break_ms, 60), break_ms == 59999);
  }
}
