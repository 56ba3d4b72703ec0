// Which demands and limits are taken, and with which number the others are refused.

#include <cstdio>

#include "check.h"
#include "rig.h"

using wire::RefusedReason;
using wire::Word;

// Of the board's header as a processor's compiler reads it.
uint16_t processor_bytes_a_pass();

namespace {

// The reason number of the one refusal that was sent, or 0; -1 when it names another word.
int refusal(Rig& rig, Word word) {
  int reason = 0;
  for (const std::string& line : rig.heard()) {
    unsigned named, sequence;
    int number;
    if (sscanf(line.c_str(), "refused %u %u %d #", &named, &sequence, &number) == 3)
      reason = named == unsigned(word) ? number : -1;
  }
  return reason;
}

int answer_to(Rig& rig, const wire::Demand& demand) {
  rig.heard();
  rig.say(demand);
  rig.pass();
  return refusal(rig, Word::demand);
}

int answer_to(Rig& rig, const wire::Limits& limits) {
  rig.heard();
  rig.say(limits);
  for (int i = 0; i < 4; ++i) rig.pass();  // longer than what a pass takes
  return refusal(rig, Word::limits);
}

}  // namespace

TEST(fresh_demand_is_taken) {
  Rig rig;
  CHECK_EQUAL(answer_to(rig, rig.answer()), 0);
  CHECK(rig.live());
  rig.tick();
  CHECK_EQUAL(rig.c.sample.demand_sequence, rig.c.demand.sequence);
}

TEST(demand_of_another_boot) {
  Rig rig;
  wire::Demand demand = rig.answer();
  --demand.boot_id;
  CHECK_EQUAL(answer_to(rig, demand), int(RefusedReason::wrong_boot));
  CHECK(!rig.live());
  CHECK_EQUAL(rig.c.refused_count, 1);
}

TEST(demand_taken_twice_does_nothing) {
  Rig rig;
  const wire::Demand demand = rig.answer();
  answer_to(rig, demand);
  const uint32_t taken_ms = rig.c.demand_ms;
  rig.tick();
  CHECK_EQUAL(answer_to(rig, demand), int(RefusedReason::not_newer));
  CHECK_EQUAL(rig.c.demand_ms, taken_ms);
}

TEST(demand_of_five_ticks_is_taken_of_six_not) {
  Rig rig;
  wire::Demand demand = rig.answer();
  rig.ticks(5);
  CHECK_EQUAL(answer_to(rig, demand), 0);
  rig.ticks(2);
  demand = rig.answer();
  rig.ticks(6);
  CHECK_EQUAL(answer_to(rig, demand), int(RefusedReason::too_old));
}

TEST(demand_for_a_sample_not_yet_sent) {
  Rig rig;
  wire::Demand demand = rig.answer();
  ++demand.sequence;
  CHECK_EQUAL(answer_to(rig, demand), int(RefusedReason::out_of_range));
}

TEST(demand_above_an_element_limit) {
  Rig rig;
  rig.go_live();
  wire::Demand demand = rig.answer();
  demand.element_code[5] = 2400;
  CHECK_EQUAL(answer_to(rig, demand), 0);
  rig.tick();
  demand = rig.answer();
  demand.element_code[5] = 2401;
  CHECK_EQUAL(answer_to(rig, demand), int(RefusedReason::out_of_range));
  CHECK_EQUAL(rig.board.drive.element_code[5], 2400);
}

TEST(current_without_a_stirrer_is_refused) {
  Rig rig;
  wire::Demand demand = rig.answer();
  demand.element_code[2] = 1;
  CHECK_EQUAL(answer_to(rig, demand), int(RefusedReason::unstirred));
  CHECK(!rig.live());
  demand.stirrer = 1;
  CHECK_EQUAL(answer_to(rig, demand), 0);
  CHECK(rig.live());
}

TEST(element_waits_for_three_seconds_of_stirring_and_goes_off_with_it) {
  Rig rig;
  rig.hold = true;
  rig.want.lease_ms = 2000;
  rig.want.stirrer = 1;
  rig.want.element_code[2] = 800;
  rig.ticks(30);
  CHECK(rig.live());
  CHECK(!rig.board.drive.station_switch[2]);
  CHECK_EQUAL(rig.board.drive.element_code[2], 0);
  rig.ticks(2);
  CHECK(rig.board.drive.station_switch[2]);
  CHECK_EQUAL(rig.board.drive.element_code[2], 800);
  rig.disturb = [](plant::Signals& s) { s.stirrer_turning = false; };
  rig.ticks(1);
  CHECK(rig.live());
  CHECK(!rig.board.drive.station_switch[2]);
  CHECK(!rig.board.drive.element_feed);
}

// A native pass is 25 ms and takes what 25 passes of a processor do, 80 bytes each; its scan drains 64
// more before each of six stations.
TEST(each_pass_takes_a_bounded_number_of_bytes) {
  for (const char byte : {'\n', 'x'}) {
    Rig rig;
    rig.say_raw(std::string(9000, byte));
    const auto left = [&rig] { return rig.board.received.size() - rig.board.received_at; };
    for (size_t before = left(); left() > 3000; before = left()) {
      rig.pass();
      CHECK(before - left() <= 25 * 80 + 6 * 64);
      if (byte == 'x') CHECK_EQUAL(before - left(), size_t(25 * 80 + 6 * 64));
    }
  }
  CHECK_EQUAL(processor_bytes_a_pass(), 80);
}

// "demand 65535 4294967295 3000 1000 1 1", six times " 4095", " #FFFF" and the line's end: 37 + 30 + 6
// + 1 characters.
TEST(pass_of_a_processor_takes_the_longest_demand_whole) {
  LineWriter line;
  write(line, wire::Demand{65535, 4294967295, 3000, 1000, 1, 1, {4095, 4095, 4095, 4095, 4095, 4095}});
  line.finish();
  CHECK_EQUAL(line.length(), 74);
  CHECK(processor_bytes_a_pass() >= 74);
}

TEST(demand_beyond_the_tables_range) {
  Rig rig;
  wire::Demand demand = rig.answer();
  demand.lease_ms = 3001;
  CHECK_EQUAL(answer_to(rig, demand), int(RefusedReason::out_of_range));
  demand.lease_ms = 2000;
  demand.duty = 1001;
  CHECK_EQUAL(answer_to(rig, demand), int(RefusedReason::out_of_range));
  CHECK(!rig.live());
  CHECK_EQUAL(rig.c.malformed_count, 0);
}

TEST(limits_are_taken_when_ready_and_answered) {
  Rig rig;
  wire::Limits limits = usual_limits();
  limits.bath_limit_sum = 44000;
  rig.heard();
  rig.say(limits);
  rig.ticks(1);
  const std::vector<std::string> lines = rig.heard();
  CHECK(lines.size() >= 1 && lines[0].compare(0, 29, "limits_in_force 1 44000 46000") == 0);
}

TEST(limits_are_refused_while_live_and_while_the_contactor_is_closed) {
  Rig rig;
  rig.go_live(0);
  CHECK_EQUAL(answer_to(rig, usual_limits()), int(RefusedReason::wrong_state));
  rig.hold = false;
  rig.say(rig.answer(0));
  rig.pass();
  CHECK_EQUAL(answer_to(rig, usual_limits()), int(RefusedReason::contactor_closed));
  rig.ticks(12);
  CHECK_EQUAL(answer_to(rig, usual_limits()), 0);
}

TEST(limits_beyond_each_ceiling) {
  Rig rig;
  const int beyond = int(RefusedReason::beyond_ceiling);
  const auto with = [](uint32_t wire::Limits::*field, uint32_t value) {
    wire::Limits limits = usual_limits();
    limits.*field = value;
    return limits;
  };
  const auto with16 = [](uint16_t wire::Limits::*field, int value) {
    wire::Limits limits = usual_limits();
    limits.*field = uint16_t(value);
    return limits;
  };
  CHECK_EQUAL(answer_to(rig, with(&wire::Limits::bath_limit_sum, ceiling::probe_sum + 1)), beyond);
  CHECK_EQUAL(answer_to(rig, with(&wire::Limits::guard_limit_sum, ceiling::probe_sum + 1)), beyond);
  CHECK_EQUAL(answer_to(rig, with16(&wire::Limits::disagree_limit_sum, ceiling::disagree_sum + 1)),
              beyond);
  CHECK_EQUAL(answer_to(rig, with16(&wire::Limits::climb_limit_sum, ceiling::climb_sum + 1)),
              beyond);
  CHECK_EQUAL(answer_to(rig, with16(&wire::Limits::heater_on_limit_s, ceiling::heater_on_s + 1)),
              beyond);
  for (const int off : {-379, 379}) {  // 3 K: 378
    const int offset = wire::offset_middle + off;
    CHECK_EQUAL(answer_to(rig, with16(&wire::Limits::disagree_offset_sum, offset)), beyond);
  }
  wire::Limits slow = usual_limits();
  slow.probe_lag_s = 61;
  CHECK_EQUAL(answer_to(rig, slow), beyond);
  const auto at_station = [](uint16_t (wire::Limits::*field)[6], int s, int value) {
    wire::Limits limits = usual_limits();
    (limits.*field)[s] = uint16_t(value);
    return limits;
  };
  for (int s = 0; s < wire::stations; ++s) {
    CHECK_EQUAL(answer_to(rig, at_station(&wire::Limits::lift_low_code, s, 19)), beyond);
    CHECK_EQUAL(answer_to(rig, at_station(&wire::Limits::lift_high_code, s, 4076)), beyond);
    CHECK_EQUAL(answer_to(rig, at_station(&wire::Limits::over_stroke_code, s, 4076)), beyond);
    wire::Limits steep = usual_limits();
    steep.element_per_k[s] = 51;
    CHECK_EQUAL(answer_to(rig, steep), beyond);
  }
  for (int s = 0; s < wire::stations; ++s) {
    wire::Limits limits = usual_limits();
    limits.element_max_code[s] = ceiling::element_code + 1;
    CHECK_EQUAL(answer_to(rig, limits), beyond);
    limits = usual_limits();
    limits.element_on_limit_s[s] = ceiling::element_on_s + 1;
    CHECK_EQUAL(answer_to(rig, limits), beyond);
  }
  CHECK_EQUAL(answer_to(rig, limits_greatest()), 0);
}

TEST(hello_is_answered_by_identity_and_limits) {
  Rig rig;
  rig.say(wire::Hello{wire::protocol});
  rig.pass();
  const std::vector<std::string> lines = rig.heard();
  CHECK_EQUAL(lines.size(), size_t(2));
  CHECK(lines.size() == 2 && lines[0].compare(0, 15, "identity 2 1 1 ") == 0);
  CHECK(lines.size() == 2 && lines[1].compare(0, 18, "limits_in_force 1 ") == 0);
}

TEST(hello_of_another_protocol_is_refused_and_answered) {
  Rig rig;
  rig.say(wire::Hello{wire::protocol + 1});
  rig.pass();
  CHECK_EQUAL(refusal(rig, Word::hello), int(RefusedReason::wrong_protocol));
}

TEST(many_bad_lines_are_each_answered) {
  Rig rig;
  rig.heard();
  wire::Demand demand = rig.answer();
  demand.boot_id += 1;
  for (int i = 0; i < 20; ++i) rig.say(demand);
  rig.ticks(5);
  int answers = 0;
  for (const std::string& line : rig.heard()) answers += line.compare(0, 8, "refused ") == 0;
  CHECK_EQUAL(answers, 20);
  CHECK_EQUAL(rig.c.refused_count, 20);
}
