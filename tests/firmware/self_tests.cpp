// What the controller finds wrong in itself: each test is provoked, trips with its own reason and
// switches everything off; what is healthy or mended does not trip.

#include <string.h>

#include "../../firmware/rig_controller/self_test.h"
#include "check.h"
#include "rig.h"

using board::Chip;
using wire::BootCause;
using wire::TripReason;

namespace {

// Register addresses of the usual map.
constexpr uint8_t configuration = 0, high_threshold = 3, low_threshold_end = 6;

void check_boot_trip(Rig& rig, TripReason reason) {
  rig.boot(BootCause::external);
  CHECK(rig.tripped_by(reason));
  rig.ticks(2);
  CHECK(rig.outputs_off());
  rig.say(wire::Clear{rig.c.trip.number});
  rig.tick();
  CHECK(rig.tripped_by(reason));  // it stands: nothing clears it
}

// In LIVE, heating: what `wrong` does from now on trips with the n-th tick.
void check_trip(TripReason reason, int ticks, std::function<void(Rig&)> wrong) {
  Rig rig;
  rig.go_live(1000);
  CHECK(rig.board.drive.heater);
  wrong(rig);
  CHECK_EQUAL(rig.ticks_to_trip(10), ticks);
  CHECK(rig.tripped_by(reason));
  CHECK(rig.outputs_off());
}

}  // namespace

// The check value 31C3 of "123456789" is that of the CRC catalogues for CRC-16/XMODEM.
TEST(program_checksum_is_crc_16_xmodem_of_all_but_itself) {
  Rig rig;
  memcpy(rig.board.program, "1234\0\0" "56789", 11);
  rig.board.built = {11, 4, 0x31C3};
  rig.boot(BootCause::external);
  CHECK(!rig.c.trip.reason);
  rig.board.program[4] = 0x5A;  // where the checksum itself stands
  rig.boot(BootCause::external);
  CHECK(!rig.c.trip.reason);
}

TEST(one_flipped_bit_of_program_memory_trips_at_boot) {
  for (size_t at = 0; at < sizeof NativeBoard::program - 2; at += 11) {
    Rig rig;
    rig.board.program[at] ^= uint8_t(1 << at % 8);
    check_boot_trip(rig, TripReason::program_memory);
    CHECK_EQUAL(rig.c.trip.limit, uint32_t(rig.board.built.crc));
  }
}

TEST(program_that_was_never_stamped_trips) {
  Rig rig;
  rig.board.built = {0, 8, 0xFFFF};
  check_boot_trip(rig, TripReason::program_memory);
}

TEST(what_it_finds_in_itself_replaces_an_older_trip_once) {
  Rig rig;
  rig.boot(BootCause::power_on);
  CHECK(rig.tripped_by(TripReason::power_on));
  rig.board.program[0] ^= 1;
  rig.boot(BootCause::power_on);
  CHECK(rig.tripped_by(TripReason::program_memory));
  const uint16_t number = rig.c.trip.number;
  rig.boot(BootCause::external);
  CHECK(rig.tripped_by(TripReason::program_memory));
  CHECK_EQUAL(rig.c.trip.number, number);

  rig.board.program[0] ^= 1;  // mended: the trip stays until it is cleared
  rig.boot(BootCause::external);
  CHECK(rig.tripped_by(TripReason::program_memory));
  rig.say(wire::Clear{number});
  rig.tick();
  CHECK(!rig.c.trip.reason);
}

TEST(clocks_may_be_a_fifth_apart_and_no_more) {
  for (const uint16_t us : {12800, 16000, 19200}) {
    Rig rig;
    rig.board.watchdog_us = us;
    rig.boot(BootCause::external);
    CHECK(!rig.c.trip.reason);
  }
  for (const uint16_t us : {0, 12799, 19201, 64000}) {
    Rig rig;
    rig.board.watchdog_us = us;
    check_boot_trip(rig, TripReason::clocks_disagree);
    CHECK_EQUAL(rig.c.trip.value, uint32_t(us));
  }
}

TEST(converter_that_loses_its_configuration_for_good_trips) {
  check_trip(TripReason::part_read_back, 3, [](Rig& r) {
    r.board.bus.rtd(Chip::bath_rtd).spoil(configuration, 0, true);
  });
  check_trip(TripReason::part_read_back, 3, [](Rig& r) {
    r.disturb = [&r](plant::Signals&) { r.board.bus = devices::Bus(); };
  });
}

TEST(each_threshold_byte_is_read_back) {
  for (const Chip chip : {Chip::bath_rtd, Chip::guard_rtd})
    for (uint8_t address = high_threshold; address <= low_threshold_end; ++address)
      check_trip(TripReason::part_read_back, 3, [&](Rig& r) {
        // Widest thresholds, as after power-on: no fault bit shows them.
        r.board.bus.rtd(chip).spoil(address, address < 5 ? 0xFF : 0, true);
      });
}

// Each probe's converter answers where the other one should: by its low threshold they differ.
TEST(two_probes_that_become_one_trip) {
  for (const bool stuck_high : {false, true})
    check_trip(TripReason::part_read_back, 3, [=](Rig& r) {
      r.disturb = [=](plant::Signals& s) {
        s.bus.any = true;
        (stuck_high ? s.bus.select_high : s.bus.select_low) = 1;
      };
    });
}

TEST(current_is_not_believed_while_a_part_is_wrong) {
  check_trip(TripReason::reference_channel, 3, [](Rig& r) {
    r.disturb = [](plant::Signals& s) {
      s.reference_ratio[1] = 1.0;
      for (double& ratio : s.current_ratio) ratio = 1.0;
    };
  });
}

// A cycle's bit 5, no current through the probe, must come with three looks in a row.
TEST(broken_force_lead_trips_with_its_third_cycle) {
  Rig rig;
  rig.ticks(5);
  rig.disturb = [](plant::Signals& s) {
    s.leads[1].force_open = true;
    s.leads[1].loose_share = warm_code / 32767.0;
  };
  int found = 0, ticks = 0;
  for (; !rig.c.trip.reason && ticks < 20; ++ticks) {
    rig.tick();
    CHECK_EQUAL(rig.c.sample.guard_sum / 4, warm_code);
    found += rig.c.sample.guard_fault == 0x20;
  }
  CHECK_EQUAL(found, 3);
  CHECK(ticks <= 13);
  CHECK(rig.tripped_by(TripReason::guard_probe_fault));
}

TEST(two_cycles_that_find_something_trip_nothing) {
  Rig rig;
  rig.disturb = [](plant::Signals& s) {
    s.leads[0].force_open = true;
    s.leads[0].loose_share = warm_code / 32767.0;
  };
  for (int i = 0; i < 20 && !rig.c.sample.bath_fault; ++i) rig.tick();
  CHECK_EQUAL(rig.c.sample.bath_fault, 0x20);
  rig.disturb = [](plant::Signals& s) { s.leads[0] = {}; };
  rig.ticks(50);
  CHECK(!rig.c.trip.reason);
}

TEST(leads_are_looked_at_once_a_second_outside_live_only) {
  Rig rig;
  int looks = 0;
  for (int i = 0; i < 100; ++i) rig.tick(), looks += rig.c.leads_looked_at;
  CHECK_EQUAL(looks, 10);
  rig.go_live(0);
  looks = 0;
  for (int i = 0; i < 100; ++i) rig.tick(), looks += rig.c.leads_looked_at;
  CHECK_EQUAL(looks, 0);
}

TEST(spoiled_register_is_mended_and_does_not_trip) {
  Rig rig;
  rig.go_live(1000);
  for (uint8_t address = 3; address <= 6; ++address) {
    rig.board.bus.rtd(Chip::guard_rtd).spoil(address, address < 5 ? 0xFF : 0, false);
    rig.tick();
    CHECK_EQUAL(rig.c.sums.parts_wrong, 1 << uint8_t(Chip::guard_rtd));
    rig.tick();
    CHECK_EQUAL(rig.c.sums.parts_wrong, 0);
  }
  CHECK(rig.live());
}

// 1/2, 1/3 and 2/3 of full scale are codes 2047.5, 1365 and 2730; 1 % of full scale is 41 codes.
constexpr int reference[3] = {2048, 1365, 2730};

TEST(reference_channel_of_each_converter_trips_beyond_its_band) {
  for (int i = 0; i < 3; ++i)
    for (const int code : {reference[i] - 42, reference[i] + 42, 0, 4095, reference[(i + 1) % 3]})
      check_trip(TripReason::reference_channel, 3, [=](Rig& r) {
        r.disturb = [=](plant::Signals& s) { s.reference_ratio[i] = code / 4095.0; };
      });
}

TEST(reference_channel_within_its_band_or_off_for_two_ticks_does_not_trip) {
  Rig rig;
  rig.go_live(1000);
  for (const int off : {-41, 41}) {
    rig.disturb = [=](plant::Signals& s) {
      for (int i = 0; i < 3; ++i) s.reference_ratio[i] = (reference[i] + off) / 4095.0;
    };
    CHECK_EQUAL(rig.ticks_to_trip(20), -1);
  }
  for (int i = 0; i < 5; ++i) {
    rig.disturb = [](plant::Signals& s) { s.reference_ratio[1] = 0.6; };
    CHECK_EQUAL(rig.ticks_to_trip(2), -1);
    rig.disturb = nullptr;
    CHECK_EQUAL(rig.ticks_to_trip(1), -1);
  }
}

TEST(overwritten_stack_guard_trips_and_is_painted_anew_at_boot) {
  for (uint8_t at = 0; at < board::stack_guard_bytes; ++at)
    check_trip(TripReason::stack_overrun, 1,
               [=](Rig& r) { r.board.stack_guard[at] ^= 0x40; });
  Rig rig;
  rig.go_live(0);
  memset(rig.board.stack_guard, 0, sizeof rig.board.stack_guard);
  rig.ticks(1);
  CHECK_EQUAL(rig.c.trip.value, 32u);
  rig.say(wire::Clear{rig.c.trip.number});
  rig.tick();
  CHECK(rig.tripped_by(TripReason::stack_overrun));
  rig.hold = false;
  rig.ticks(10);
  rig.boot(BootCause::external);
  CHECK(rig.tripped_by(TripReason::stack_overrun));
  rig.ticks(1);
  rig.say(wire::Clear{rig.c.trip.number});
  rig.tick();
  CHECK(!rig.c.trip.reason);
}

TEST(scan_left_out_by_a_spoiled_counter_trips_and_starves_the_watchdog) {
  Rig rig;
  rig.go_live(1000);
  const uint32_t fed = rig.board.watchdog_fed;
  rig.c.scans = 1;  // as if one had been done
  rig.tick();
  CHECK(rig.tripped_by(TripReason::program_flow));
  CHECK(rig.outputs_off());
  CHECK_EQUAL(rig.board.watchdog_fed, fed);
  rig.tick();
  CHECK_EQUAL(rig.board.watchdog_fed, fed + 1);
}

// Where a duty is awaited, a table of the pass says; any other coming breaks the flow.
TEST(flow_takes_each_duty_at_its_turn_only) {
  constexpr uint8_t duties = 10;
  for (uint8_t turn = 0; turn < duties; ++turn)
    for (uint8_t come = 0; come < duties; ++come) {
      Flow flow;
      for (uint8_t scan = 0; scan < 3; ++scan)
        for (const Duty duty : {Duty::look, Duty::lease, Duty::receive, Duty::scan, Duty::drive,
                                Duty::send})
          flow.done(duty);
      for (uint8_t duty = 0; duty < turn; ++duty) flow.done(Duty(duty));
      CHECK(!flow.take_broken());
      flow.done(Duty(come));
      const bool no_scan_due = Duty(turn) == Duty::scan && Duty(come) == Duty::drive;
      CHECK_EQUAL(flow.take_broken(), come != turn && !no_scan_due);
    }
}

TEST(tick_with_one_duty_left_out_does_not_feed_the_watchdog) {
  for (uint8_t left_out = 0; left_out <= uint8_t(Duty::send); ++left_out) {
    Rig rig;
    rig.ticks(1);
    Flow& flow = rig.c.flow;
    bool fed = false;
    for (uint8_t scan = 1; scan <= 4; ++scan)
      for (uint8_t duty = 0; duty <= uint8_t(Duty::send); ++duty) {
        const bool ends_tick = duty >= uint8_t(Duty::guard) && duty <= uint8_t(Duty::report);
        if (ends_tick && scan < 4) continue;
        if (scan == 2 + (left_out >= uint8_t(Duty::guard)) * 2 && duty == left_out) continue;
        flow.done(Duty(duty));
        if (flow.take_tick()) fed = true;
      }
    // Drive and send come after the watchdog's duty of the tick: they show at the next look.
    flow.done(Duty::look);
    CHECK(flow.take_broken());
    CHECK_EQUAL(fed, left_out >= uint8_t(Duty::drive));
  }
}
