// Generated from host/proofbath/wire/table.py by host/write_wire.py; do not edit.

// The wire: messages, their ranges, and how each is read and written in order.

#pragma once
#include <stdint.h>

namespace wire {


constexpr uint8_t protocol = 2;
constexpr uint8_t stations = 6;
constexpr uint8_t line_max = 255;
constexpr uint16_t absent = 65535;
constexpr uint8_t tick_ms = 100;
constexpr uint8_t scans_per_tick = 4;
constexpr uint8_t oldest_answer_ticks = 5;
constexpr uint16_t lease_max_ms = 3000;
constexpr uint16_t duty_full = 1000;
constexpr uint16_t offset_middle = 32768;

enum class State : uint8_t {
  tripped = 0,
  ready = 1,
  live = 2
};

enum class TripReason : uint8_t {
  none = 0,
  power_on = 1,
  brown_out = 2,
  watchdog = 3,
  unknown_boot = 4,
  limits_missing = 5,
  bath_over_limit = 6,
  guard_over_limit = 7,
  bath_probe_fault = 8,
  guard_probe_fault = 9,
  probes_disagree = 10,
  climb_too_fast = 11,
  heater_welded = 12,
  heater_open = 13,
  contactor_mirror = 14,
  climb_while_off = 15,
  level_low = 16,
  stirrer_stopped = 17,
  emergency_stop = 18,
  element_feed_stuck = 19,
  heater_on_limit = 20,
  program_memory = 21,
  part_read_back = 22,
  reference_channel = 23,
  stack_overrun = 24,
  program_flow = 25,
  clocks_disagree = 26,
  off_failed = 27,
  stirrer_sense = 28
};

enum class StopReason : uint8_t {
  none = 0,
  lease_over = 1,
  released = 2,
  heat_unseen = 3
};

enum class RefusedReason : uint8_t {
  out_of_range = 1,
  wrong_boot = 2,
  not_newer = 3,
  too_old = 4,
  wrong_state = 5,
  contactor_closed = 6,
  beyond_ceiling = 7,
  wrong_trip = 8,
  cause_present = 9,
  limits_missing = 10,
  station_absent = 11,
  wrong_protocol = 12,
  heat_stopped = 13,
  unstirred = 14
};

enum class BootCause : uint8_t {
  unknown = 0,
  external = 1,
  power_on = 2,
  brown_out = 3,
  watchdog = 4
};

enum class Board : uint8_t {
  native = 1,
  atmega2560 = 2,
  atmega328p = 3
};

enum class Word : uint8_t {
  hello = 1,
  demand = 2,
  limits = 3,
  clear = 4,
  identity = 5,
  sample = 6,
  refused = 7,
  limits_in_force = 8,
  trip = 9
};

enum class Input : uint8_t {
  level_ok = 1,
  stirrer_turning = 2,
  emergency_stop_closed = 4,
  heater_live = 8,
  contactor_open = 16
};

enum class Output : uint8_t {
  contactor = 1,
  heater = 2,
  element_feed = 4,
  stirrer = 8,
  cooling = 16,
  horn = 32
};

enum class StationFlag : uint8_t {
  element_over = 1,
  element_open = 2,
  element_short = 4,
  element_time = 8,
  gauge_fault = 16,
  over_stroke = 32,
  element_hot = 64
};

// The words in the order of Word, each ended by a zero.
#define WIRE_WORDS \
  "hello\0" \
  "demand\0" \
  "limits\0" \
  "clear\0" \
  "identity\0" \
  "sample\0" \
  "refused\0" \
  "limits_in_force\0" \
  "trip\0"

struct Hello {
  uint16_t protocol;
};

struct Demand {
  uint16_t boot_id;
  uint32_t sequence;
  uint16_t lease_ms;
  uint16_t duty;
  uint8_t stirrer;
  uint8_t cooling;
  uint16_t element_code[6];
};

struct Limits {
  uint32_t bath_limit_sum;
  uint32_t guard_limit_sum;
  uint16_t disagree_limit_sum;
  uint16_t disagree_offset_sum;
  uint16_t climb_limit_sum;
  uint16_t heater_on_limit_s;
  uint16_t heat_rise_sum;
  uint16_t heat_loss_duty;
  uint16_t element_max_code[6];
  uint16_t element_on_limit_s[6];
  uint16_t lift_low_code[6];
  uint16_t lift_high_code[6];
  uint16_t over_stroke_code[6];
  uint8_t heat_delay_s;
  uint8_t probe_lag_s;
  uint8_t element_per_k[6];
};

struct Clear {
  uint16_t trip_number;
};

struct Identity {
  uint16_t protocol;
  uint16_t firmware;
  uint8_t board;
  uint8_t stations;
  uint16_t reference_ohm;
  uint16_t boot_id;
  uint8_t boot_cause;
  uint32_t serial_number;
  uint8_t state;
  uint16_t trip_number;
  uint8_t trip_reason;
  uint32_t trip_value;
  uint32_t trip_limit;
};

struct Sample {
  uint16_t boot_id;
  uint32_t sequence;
  uint32_t device_ms;
  uint8_t state;
  uint8_t trip_reason;
  uint8_t stop_reason;
  uint32_t causes;
  uint32_t demand_sequence;
  uint32_t bath_sum;
  uint8_t bath_fault;
  uint32_t guard_sum;
  uint8_t guard_fault;
  uint16_t lift_sum[6];
  uint16_t current_sum[6];
  uint16_t voltage_sum[6];
  uint32_t heater_on_ms;
  uint16_t duty;
  uint8_t station_flags[6];
  uint8_t inputs;
  uint8_t outputs;
  uint16_t refused;
  uint16_t malformed;
};

struct Refused {
  uint8_t word;
  uint32_t sequence;
  uint8_t reason;
};

struct LimitsInForce {
  uint8_t valid;
  uint32_t bath_limit_sum;
  uint32_t guard_limit_sum;
  uint16_t disagree_limit_sum;
  uint16_t disagree_offset_sum;
  uint16_t climb_limit_sum;
  uint16_t heater_on_limit_s;
  uint16_t heat_rise_sum;
  uint16_t heat_loss_duty;
  uint16_t element_max_code[6];
  uint16_t element_on_limit_s[6];
  uint16_t lift_low_code[6];
  uint16_t lift_high_code[6];
  uint16_t over_stroke_code[6];
  uint8_t heat_delay_s;
  uint8_t probe_lag_s;
  uint8_t element_per_k[6];
};

struct Trip {
  uint16_t trip_number;
  uint8_t reason;
  uint32_t value;
  uint32_t limit;
};

// A Reader answers false at the first number missing, malformed or outside its range.

template <class Reader> bool read(Reader& in, Hello& m) {
  return in.number(m.protocol, 1UL, 65535UL) &&
         in.end();
}

template <class Reader> bool read(Reader& in, Demand& m) {
  return in.number(m.boot_id, 0UL, 65535UL) &&
         in.number(m.sequence, 0UL, 4294967295UL) &&
         in.number(m.lease_ms, 0UL, 3000UL) &&
         in.number(m.duty, 0UL, 1000UL) &&
         in.number(m.stirrer, 0UL, 1UL) &&
         in.number(m.cooling, 0UL, 1UL) &&
         in.numbers(m.element_code, 6, 0UL, 4095UL) &&
         in.end();
}

template <class Reader> bool read(Reader& in, Limits& m) {
  return in.number(m.bath_limit_sum, 1UL, 131068UL) &&
         in.number(m.guard_limit_sum, 1UL, 131068UL) &&
         in.number(m.disagree_limit_sum, 1UL, 65535UL) &&
         in.number(m.disagree_offset_sum, 0UL, 65535UL) &&
         in.number(m.climb_limit_sum, 1UL, 65535UL) &&
         in.number(m.heater_on_limit_s, 1UL, 65535UL) &&
         in.number(m.heat_rise_sum, 0UL, 9999UL) &&
         in.number(m.heat_loss_duty, 0UL, 1000UL) &&
         in.numbers(m.element_max_code, 6, 0UL, 4095UL) &&
         in.numbers(m.element_on_limit_s, 6, 0UL, 65535UL) &&
         in.numbers(m.lift_low_code, 6, 0UL, 4095UL) &&
         in.numbers(m.lift_high_code, 6, 0UL, 4095UL) &&
         in.numbers(m.over_stroke_code, 6, 0UL, 4095UL) &&
         in.number(m.heat_delay_s, 0UL, 120UL) &&
         in.number(m.probe_lag_s, 0UL, 120UL) &&
         in.numbers(m.element_per_k, 6, 0UL, 99UL) &&
         in.end();
}

template <class Reader> bool read(Reader& in, Clear& m) {
  return in.number(m.trip_number, 0UL, 65535UL) &&
         in.end();
}

// Host messages have writers too, so that native tests can speak for the host.

template <class Writer> void write(Writer& out, const Hello& m) {
  out.word(Word::hello);
  out.number(m.protocol);
}

template <class Writer> void write(Writer& out, const Demand& m) {
  out.word(Word::demand);
  out.number(m.boot_id);
  out.number(m.sequence);
  out.number(m.lease_ms);
  out.number(m.duty);
  out.number(m.stirrer);
  out.number(m.cooling);
  out.numbers(m.element_code, 6);
}

template <class Writer> void write(Writer& out, const Limits& m) {
  out.word(Word::limits);
  out.number(m.bath_limit_sum);
  out.number(m.guard_limit_sum);
  out.number(m.disagree_limit_sum);
  out.number(m.disagree_offset_sum);
  out.number(m.climb_limit_sum);
  out.number(m.heater_on_limit_s);
  out.number(m.heat_rise_sum);
  out.number(m.heat_loss_duty);
  out.numbers(m.element_max_code, 6);
  out.numbers(m.element_on_limit_s, 6);
  out.numbers(m.lift_low_code, 6);
  out.numbers(m.lift_high_code, 6);
  out.numbers(m.over_stroke_code, 6);
  out.number(m.heat_delay_s);
  out.number(m.probe_lag_s);
  out.numbers(m.element_per_k, 6);
}

template <class Writer> void write(Writer& out, const Clear& m) {
  out.word(Word::clear);
  out.number(m.trip_number);
}

template <class Writer> void write(Writer& out, const Identity& m) {
  out.word(Word::identity);
  out.number(m.protocol);
  out.number(m.firmware);
  out.number(m.board);
  out.number(m.stations);
  out.number(m.reference_ohm);
  out.number(m.boot_id);
  out.number(m.boot_cause);
  out.number(m.serial_number);
  out.number(m.state);
  out.number(m.trip_number);
  out.number(m.trip_reason);
  out.number(m.trip_value);
  out.number(m.trip_limit);
}

template <class Writer> void write(Writer& out, const Sample& m) {
  out.word(Word::sample);
  out.number(m.boot_id);
  out.number(m.sequence);
  out.number(m.device_ms);
  out.number(m.state);
  out.number(m.trip_reason);
  out.number(m.stop_reason);
  out.number(m.causes);
  out.number(m.demand_sequence);
  out.number(m.bath_sum);
  out.number(m.bath_fault);
  out.number(m.guard_sum);
  out.number(m.guard_fault);
  out.numbers(m.lift_sum, 6);
  out.numbers(m.current_sum, 6);
  out.numbers(m.voltage_sum, 6);
  out.number(m.heater_on_ms);
  out.number(m.duty);
  out.numbers(m.station_flags, 6);
  out.number(m.inputs);
  out.number(m.outputs);
  out.number(m.refused);
  out.number(m.malformed);
}

template <class Writer> void write(Writer& out, const Refused& m) {
  out.word(Word::refused);
  out.number(m.word);
  out.number(m.sequence);
  out.number(m.reason);
}

template <class Writer> void write(Writer& out, const LimitsInForce& m) {
  out.word(Word::limits_in_force);
  out.number(m.valid);
  out.number(m.bath_limit_sum);
  out.number(m.guard_limit_sum);
  out.number(m.disagree_limit_sum);
  out.number(m.disagree_offset_sum);
  out.number(m.climb_limit_sum);
  out.number(m.heater_on_limit_s);
  out.number(m.heat_rise_sum);
  out.number(m.heat_loss_duty);
  out.numbers(m.element_max_code, 6);
  out.numbers(m.element_on_limit_s, 6);
  out.numbers(m.lift_low_code, 6);
  out.numbers(m.lift_high_code, 6);
  out.numbers(m.over_stroke_code, 6);
  out.number(m.heat_delay_s);
  out.number(m.probe_lag_s);
  out.numbers(m.element_per_k, 6);
}

template <class Writer> void write(Writer& out, const Trip& m) {
  out.word(Word::trip);
  out.number(m.trip_number);
  out.number(m.reason);
  out.number(m.value);
  out.number(m.limit);
}

}  // namespace wire
