// The parts on the bus behind broken or stuck wires: which part answers, and what a probe's broken
// lead does at its converter. What a converter promises of its leads is from the public data sheet
// of the usual one: a broken force lead is found by a fault-detection cycle alone, as no current
// (bit 5); a broken input lead by none.

#include "../../firmware/native/devices.h"
#include "../../firmware/rig_controller/converter.h"
#include "../../firmware/rig_controller/rtd.h"
#include "check.h"
#include "rig.h"

using board::Chip;

namespace {

constexpr uint8_t at_rest = 0x81, running = 0xC1, clear_faults = 0x02;
constexpr uint8_t cycle_by_itself = 0x04, cycle_first = 0x08, cycle_second = 0x0C;
constexpr uint8_t no_current = 0x20, above_high = 0x80;
constexpr uint16_t full_scale = 32767;
constexpr double warm_ohm = 123.24;  // 60 degC by IEC 60751
constexpr uint16_t warm_converted = 10096;  // 123.24 / 400 x 32768

// The bus of a board whose probes stand at different temperatures and whose ADCs read apart.
struct Wired {
  NativeBoard board;
  Wired() {
    board.make_current();
    board.signals.probe_ohm[0] = warm_ohm;
    board.signals.probe_ohm[1] = 110.0;
    for (double& ratio : board.signals.reference_ratio) ratio = 0.5;
    for (double& ratio : board.signals.gauge_ratio) ratio = 0.25;
    for (double& ratio : board.signals.current_ratio) ratio = 0.125;
    for (double& ratio : board.signals.voltage_ratio) ratio = 0.75;
    rtd_configure(Chip::bath_rtd);
    rtd_configure(Chip::guard_rtd);
  }
  plant::BusFaults& wires() {
    board.signals.bus.any = true;
    return board.signals.bus;
  }
  plant::Leads& leads() { return board.signals.leads[0]; }
};

uint8_t exchange(Chip chip, uint8_t address, uint8_t byte) {
  board::select(chip);
  board::transfer(address);
  const uint8_t answer = board::transfer(byte);
  board::release();
  return answer;
}

void configure(uint8_t value) { exchange(Chip::bath_rtd, 0x80, value); }

uint8_t configuration() { return exchange(Chip::bath_rtd, 0, 0); }

uint8_t faults() { return exchange(Chip::bath_rtd, 7, 0); }

uint8_t faults_after_cycle() {
  configure(at_rest | clear_faults);
  configure(at_rest | cycle_by_itself);
  return faults();
}

}  // namespace

TEST(healthy_wires_reach_each_part) {
  Wired w;
  CHECK_EQUAL(rtd_read(Chip::bath_rtd).code, warm_converted);
  CHECK_EQUAL(adc_read(Chip::lift_adc, 0), 1024);
  CHECK_EQUAL(adc_read(Chip::current_adc, 0), 512);
  CHECK_EQUAL(adc_read(Chip::voltage_adc, 0), 3071);
  dac_write(2, 1234);
  CHECK_EQUAL(w.board.drive.element_code[2], 1234);
}

// Numbers of the chips: 000 and 001 RTD converters, 010 011 100 ADCs, 101 DAC.
TEST(stuck_select_line_reaches_the_part_whose_number_remains) {
  Wired a_low;
  a_low.wires().select_low = 1;
  CHECK_EQUAL(rtd_read(Chip::guard_rtd).code, warm_converted);  // 001 -> 000
  CHECK_EQUAL(adc_read(Chip::current_adc, 0), 1024);            // 011 -> 010
  dac_write(2, 1234);                                           // 101 -> 100
  CHECK_EQUAL(a_low.board.drive.element_code[2], 0);
  Wired a_high;
  a_high.wires().select_high = 1;
  CHECK_EQUAL(rtd_read(Chip::bath_rtd).code, 9011);   // 000 -> 001: 110 ohm
  CHECK_EQUAL(adc_read(Chip::lift_adc, 0), 512);      // 010 -> 011
  Wired b_low;
  b_low.wires().select_low = 2;
  CHECK(adc_read(Chip::lift_adc, 0) != 1024);         // 010 -> 000, an RTD converter
  Wired b_high;
  b_high.wires().select_high = 2;
  CHECK_EQUAL(adc_read(Chip::lift_adc, 0), 1024);     // 010 keeps its number
  CHECK_EQUAL(adc_read(Chip::voltage_adc, 0), 4095);  // 100 -> 110: nobody, the line stands open
  Wired c_low;
  c_low.wires().select_low = 4;
  CHECK_EQUAL(exchange(Chip::voltage_adc, 0, 0), running);  // 100 -> 000: its configuration
  Wired c_high;
  c_high.wires().select_high = 4;
  CHECK_EQUAL(exchange(Chip::lift_adc, 0, 0), 0xFF);  // 010 -> 110: nobody
  board::select(Chip::bath_rtd);                      // 000 -> 100: the voltages' ADC
  board::transfer(0x06);
  const uint8_t high = board::transfer(0);
  CHECK_EQUAL((high & 0x0F) << 8 | board::transfer(0), 3071);
  board::release();
}

// With line B low nothing (111) becomes the DAC's number (101): it stays selected between frames,
// and what it was sent acts when another part is called.
TEST(dac_that_stays_selected_acts_when_another_part_is_called) {
  Wired w;
  w.wires().select_low = 2;
  board::release();
  dac_write(1, 700);
  CHECK_EQUAL(w.board.drive.element_code[1], 0);
  adc_read(Chip::voltage_adc, 0);
  CHECK_EQUAL(w.board.drive.element_code[1], 700);
}

TEST(stuck_miso_and_dead_clock_read_alike_from_every_part) {
  Wired low;
  low.wires().miso_low = true;
  CHECK_EQUAL(adc_read(Chip::lift_adc, 0), 0);
  CHECK_EQUAL(configuration(), 0);
  dac_write(0, 100);
  CHECK_EQUAL(low.board.drive.element_code[0], 100);  // it only listens
  Wired high;
  high.wires().miso_high = true;
  CHECK_EQUAL(adc_read(Chip::lift_adc, 0), 4095);
  CHECK_EQUAL(configuration(), 0xFF);
  Wired dead;
  dead.wires().clock_dead = true;
  CHECK_EQUAL(adc_read(Chip::lift_adc, 0), 4095);
  dac_write(0, 100);
  CHECK_EQUAL(dead.board.drive.element_code[0], 0);
}

TEST(broken_force_lead_shows_in_a_cycle_only) {
  for (const double share : {0.0, 0.3081, 1.0}) {
    Wired w;
    w.leads().force_open = true;
    w.leads().loose_share = share;
    const RtdReading reading = rtd_read(Chip::bath_rtd);
    CHECK_EQUAL(reading.code, uint16_t(share * full_scale + 0.5));
    CHECK_EQUAL(reading.fault & no_current, 0);
    CHECK_EQUAL(faults_after_cycle(), no_current);
    w.leads() = {};
    CHECK_EQUAL(faults(), no_current);  // kept until it is cleared
    CHECK_EQUAL(faults_after_cycle(), 0);
  }
}

TEST(broken_input_lead_shows_in_no_cycle) {
  Wired w;
  w.leads().input_loose = true;
  w.leads().loose_share = 0.3081;
  CHECK_EQUAL(rtd_read(Chip::bath_rtd).fault, 0);
  CHECK_EQUAL(rtd_read(Chip::bath_rtd).code, 10096);
  CHECK_EQUAL(faults_after_cycle(), 0);
}

TEST(resistor_at_the_input_pulls_its_broken_lead_to_full_scale) {
  Wired w;
  w.leads().input_at_bias = true;
  const RtdReading reading = rtd_read(Chip::bath_rtd);
  CHECK_EQUAL(reading.code, full_scale);
  CHECK_EQUAL(reading.fault, above_high);
}

TEST(open_element_shows_at_full_scale_and_in_a_cycle) {
  Wired w;
  w.board.signals.probe_ohm[0] = 1e9;
  CHECK_EQUAL(rtd_read(Chip::bath_rtd).code, full_scale);
  CHECK_EQUAL(faults_after_cycle(), no_current);
}

// The reference's lower end stands at 0.85 of the bias where the probe has 0.85 / 0.15 x 400 ohm.
TEST(cycle_compares_with_85_hundredths_of_the_bias) {
  for (const double ohm : {2266.0, 2267.0}) {
    Wired w;
    w.board.signals.probe_ohm[0] = ohm;
    CHECK_EQUAL(faults_after_cycle(), ohm > 2266.7 ? no_current : 0);
  }
}

TEST(cycle_needs_a_bias_and_a_converter_at_rest) {
  Wired w;
  w.leads().force_open = true;
  for (const uint8_t value : {uint8_t(running | cycle_by_itself), uint8_t(cycle_by_itself)}) {
    configure(at_rest | clear_faults);
    configure(value);
    CHECK_EQUAL(faults(), 0);
    CHECK_EQUAL(configuration(), value & ~cycle_second);
  }
}

TEST(cycle_in_halves_waits_for_its_second) {
  Wired w;
  w.leads().force_open = true;
  configure(at_rest | cycle_first);
  CHECK_EQUAL(configuration(), at_rest | cycle_first);
  configure(at_rest | cycle_second);
  CHECK_EQUAL(configuration(), at_rest);
  CHECK_EQUAL(faults(), no_current);
}

TEST(no_conversion_runs_while_a_converter_is_at_rest) {
  Wired w;
  CHECK_EQUAL(rtd_read(Chip::bath_rtd).code, warm_converted);
  configure(at_rest);
  w.board.signals.probe_ohm[0] = 140.0;
  board::select(Chip::bath_rtd);
  board::transfer(1);
  const uint8_t high = board::transfer(0), low = board::transfer(0);
  board::release();
  CHECK_EQUAL((high << 8 | low) >> 1, warm_converted);
}
