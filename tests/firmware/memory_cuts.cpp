// What survives a reset: boot causes, the latch, the limits; EEPROM spoiled and cut at every byte.

#include <algorithm>
#include <cstring>

#include "check.h"
#include "rig.h"

using wire::BootCause;
using wire::TripReason;

namespace {

// Where the copies stand, worked out by hand from memory.h: two copies of each item, each with
// three bytes more than its payload (trip 11, boot 2, serial 4, limits 88).
constexpr int trip_at = 0, trip_copy = 14;
constexpr int limits_at = 2 * 14 + 2 * 5 + 2 * 7, limits_copy = 91;

void trip(Rig& rig) {
  rig.disturb = [](plant::Signals& s) { s.emergency_stop_closed = false; };
  rig.pass();
  rig.pass();
  rig.disturb = nullptr;
}

void settle(Rig& rig) {
  while (rig.c.memory.busy()) rig.pass();
}

bool limits_are(const Rig& rig, const wire::Limits& wanted) {
  return rig.c.limits_valid && memcmp(&rig.c.limits, &wanted, 88) == 0;
}

// EEPROM as it stands when the supply fails after `bytes` more burnt bytes.
void burn_then_cut(Rig& rig, int bytes) {
  rig.board.make_current();
  while (bytes-- > 0 && rig.c.memory.busy()) {
    rig.board.eeprom_budget = 1;
    rig.c.memory.poll();
  }
}

}  // namespace

TEST(boot_causes_that_are_trips) {
  const std::pair<BootCause, TripReason> rows[] = {
      {BootCause::power_on, TripReason::power_on},
      {BootCause::brown_out, TripReason::brown_out},
      {BootCause::watchdog, TripReason::watchdog},
      {BootCause::unknown, TripReason::unknown_boot},
      {BootCause(77), TripReason::unknown_boot}};
  for (const auto& row : rows) {
    Rig rig;
    rig.boot(row.first);
    CHECK(rig.tripped_by(row.second));
    CHECK(rig.outputs_off());
  }
}

TEST(external_reset_without_a_trip_boots_ready) {
  Rig rig;
  const uint16_t boot_id = rig.c.boot_id;
  rig.boot(BootCause::external);
  CHECK(rig.c.status.state == wire::State::ready);
  CHECK_EQUAL(rig.c.boot_id, boot_id + 1);
  CHECK(limits_are(rig, usual_limits()));
}

TEST(external_reset_in_live_switches_off) {
  Rig rig;
  rig.go_live(1000);
  rig.boot(BootCause::external);
  CHECK(rig.outputs_off());
  CHECK(rig.c.status.state == wire::State::ready);
}

TEST(trip_is_latched_across_every_boot) {
  for (const BootCause cause : {BootCause::external, BootCause::power_on, BootCause::brown_out,
                                BootCause::watchdog, BootCause::unknown}) {
    Rig rig;
    rig.go_live(0);
    rig.guard_code = rig.bath_code = 11251;
    rig.ticks(3);
    const TripRecord before = rig.c.trip;
    rig.guard_code = rig.bath_code = warm_code;
    rig.ticks(3);
    rig.boot(cause);
    CHECK(rig.tripped_by(TripReason::bath_over_limit));
    CHECK_EQUAL(rig.c.trip.number, before.number);
    CHECK_EQUAL(rig.c.trip.value, 45004u);
    CHECK_EQUAL(rig.c.trip.limit, 45000u);
  }
}

TEST(cleared_trip_stays_cleared) {
  Rig rig;
  trip(rig);
  rig.say(wire::Clear{rig.c.trip.number});
  rig.ticks(2);
  settle(rig);
  rig.boot(BootCause::external);
  CHECK(rig.c.status.state == wire::State::ready);
}

TEST(trip_cut_at_any_byte_still_stops) {
  for (int bytes = 1; bytes <= 40; ++bytes) {
    Rig rig;
    settle(rig);
    const uint16_t number = rig.c.trip.number;
    rig.board.make_current();
    rig.c.trip = {45004, 45000, uint16_t(number + 1), uint8_t(TripReason::bath_over_limit)};
    rig.c.memory.store(Item::trip);
    burn_then_cut(rig, bytes);
    rig.boot(BootCause::external);
    CHECK(rig.c.status.state == wire::State::tripped);
    CHECK(rig.c.trip.number >= number + 1);
  }
}

TEST(clear_cut_at_any_byte_is_either_done_or_not) {
  for (int bytes = 0; bytes <= 40; ++bytes) {
    Rig rig;
    trip(rig);
    settle(rig);
    rig.board.make_current();
    rig.c.trip.reason = 0;
    rig.c.memory.store(Item::trip);
    burn_then_cut(rig, bytes);
    rig.boot(BootCause::external);
    const bool whole = rig.c.status.state == wire::State::ready;
    CHECK(whole || rig.tripped_by(TripReason::emergency_stop) ||
          rig.tripped_by(TripReason::unknown_boot));
    if (bytes == 0) CHECK(rig.tripped_by(TripReason::emergency_stop));
    if (bytes == 40) CHECK(whole);
  }
}

TEST(limits_cut_at_any_byte_are_the_old_or_the_new) {
  wire::Limits changed = usual_limits();
  changed.bath_limit_sum = 43210;
  for (int s = 0; s < 6; ++s) changed.over_stroke_code[s] = 2222;
  for (int bytes = 0; bytes <= 60; ++bytes) {
    Rig rig;
    settle(rig);
    rig.board.make_current();
    rig.c.limits = changed;
    rig.c.memory.store(Item::limits);
    burn_then_cut(rig, bytes);
    rig.boot(BootCause::external);
    CHECK(limits_are(rig, usual_limits()) || limits_are(rig, changed));
    CHECK(rig.c.status.state == wire::State::ready);
    if (bytes == 0) CHECK(limits_are(rig, usual_limits()));
    if (bytes == 60) CHECK(limits_are(rig, changed));
    settle(rig);
    const uint8_t* copies = rig.board.eeprom + limits_at;
    CHECK(memcmp(copies, copies + limits_copy, limits_copy) == 0);
  }
}

TEST(limits_replaced_while_being_burnt_survive_a_cut) {
  wire::Limits second = usual_limits(), third = usual_limits();
  second.bath_limit_sum = 43000;
  third.bath_limit_sum = 42000;
  for (int first_bytes = 0; first_bytes <= 12; ++first_bytes)
    for (int bytes = 0; bytes <= 12; ++bytes) {
      Rig rig;
      settle(rig);
      rig.board.make_current();
      rig.c.limits = second;
      rig.c.memory.store(Item::limits);
      burn_then_cut(rig, first_bytes);
      rig.c.limits = third;
      rig.c.memory.store(Item::limits);
      burn_then_cut(rig, bytes);
      rig.boot(BootCause::external);
      CHECK(limits_are(rig, usual_limits()) || limits_are(rig, second) || limits_are(rig, third));
    }
}

TEST(trip_goes_before_limits_being_burnt) {
  Rig rig;
  wire::Limits changed = usual_limits();
  changed.bath_limit_sum = 43000;
  settle(rig);
  rig.board.make_current();
  rig.c.limits = changed;
  rig.c.memory.store(Item::limits);
  burn_then_cut(rig, 3);
  trip(rig);
  burn_then_cut(rig, 28);
  rig.boot(BootCause::external);
  CHECK(rig.tripped_by(TripReason::emergency_stop));
  CHECK(rig.c.limits_valid);
}

TEST(one_spoiled_copy_of_the_limits_is_repaired) {
  for (int copy = 0; copy < 2; ++copy)
    for (int byte : {0, 1, 40, 76}) {
      Rig rig;
      settle(rig);
      rig.board.eeprom[limits_at + copy * limits_copy + byte] ^= 0x10;
      rig.boot(BootCause::external);
      CHECK(limits_are(rig, usual_limits()));
      CHECK(rig.c.status.state == wire::State::ready);
      settle(rig);
      const uint8_t* copies = rig.board.eeprom + limits_at;
      CHECK(memcmp(copies, copies + limits_copy, limits_copy) == 0);
    }
}

TEST(limits_with_both_copies_spoiled_cannot_be_cleared) {
  Rig rig;
  settle(rig);
  rig.board.eeprom[limits_at + 5] ^= 1;
  rig.board.eeprom[limits_at + limits_copy + 6] ^= 1;
  rig.boot(BootCause::external);
  CHECK(rig.tripped_by(TripReason::limits_missing));
  CHECK(!rig.c.limits_valid);
  rig.tick();
  rig.heard();
  rig.say(wire::Clear{rig.c.trip.number});
  rig.tick();
  const std::vector<std::string> lines = rig.heard();
  CHECK(!lines.empty() && lines[0].compare(0, 15, "refused 4 0 10 ") == 0);
  rig.say(usual_limits());
  rig.say(wire::Clear{rig.c.trip.number});
  rig.tick();
  CHECK(rig.c.status.state == wire::State::ready);
}

TEST(stored_limits_beyond_a_ceiling_count_as_missing) {
  Rig rig;
  settle(rig);
  rig.board.make_current();
  rig.c.limits.bath_limit_sum = ceiling::probe_sum + 1;
  rig.c.memory.store(Item::limits);
  burn_then_cut(rig, 400);
  rig.boot(BootCause::external);
  CHECK(rig.tripped_by(TripReason::limits_missing));
}

TEST(blank_or_erased_memory_does_not_heat) {
  for (const int fill : {0xFF, 0x00, 0x55}) {
    Rig rig;
    memset(rig.board.eeprom, fill, sizeof rig.board.eeprom);
    rig.boot(BootCause::external);
    CHECK(rig.tripped_by(TripReason::limits_missing));
    CHECK_EQUAL(rig.c.boot_id, 1);
    CHECK_EQUAL(rig.c.serial_number, 0u);
  }
}

TEST(spoiled_copy_of_the_latch_stops) {
  for (int copy = 0; copy < 2; ++copy) {
    Rig rig;
    settle(rig);
    rig.board.eeprom[trip_at + copy * trip_copy + 9] ^= 4;
    rig.boot(BootCause::external);
    CHECK(rig.tripped_by(TripReason::unknown_boot));
  }
}

TEST(boot_count_survives_a_cut_and_wraps) {
  Rig rig;
  for (int i = 0; i < 300; ++i) {
    const uint16_t before = rig.c.boot_id;
    rig.boot(BootCause::external);
    CHECK_EQUAL(rig.c.boot_id, uint16_t(before + 1));
  }
}
