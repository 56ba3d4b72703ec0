// Judges each station by itself; any flag switches its element off.

#include "elements.h"

#include "converter.h"

namespace {

using wire::StationFlag;

constexpr uint16_t change_code = code_of_ma(level::element_change_ma);
constexpr uint16_t over_margin_sum = sum_of_ma(level::element_over_ma);

// Volts and amperes a count are 1.25 mV and 0.125 mA: ohm = 10 * voltage / current.
bool is_short(uint16_t current, uint16_t voltage) {
  return uint32_t(voltage) * 10 < uint32_t(current) * level::element_short_ohm;
}

}  // namespace

void Elements::begin_live() {
  for (Station& station : stations_) station.flags = 0;
}

void Elements::set(const uint16_t* code, uint32_t now_ms) {
  for (uint8_t s = 0; s < board::stations; ++s)
    set_one(stations_[s], stations_[s].flags ? 0 : code[s], now_ms);
  refresh();
}

void Elements::all_off(uint32_t now_ms) {
  for (Station& station : stations_) set_one(station, 0, now_ms);
  refresh();
}

void Elements::set_one(Station& station, uint16_t code, uint32_t now_ms) {
  const uint16_t low = code < station.settled_code ? code : station.settled_code;
  const uint16_t step = code + station.settled_code - 2 * low;
  const bool begins = code && !station.code;
  const bool jumps = (code > station.code ? code - station.code : station.code - code) > change_code;
  if (begins) station.core.feed(now_ms - station.changed_ms < level::hot_base_kept_ms);
  if (step > change_code || (code == 0) != (station.code == 0)) {
    station.settled_code = code;
    station.changed_ms = now_ms;
  }
  if (jumps && !begins) station.core.step();
  station.code = code;
  station.on.note(code > 0, now_ms);
}

bool Elements::settled_off(uint8_t station, uint32_t now_ms) const {
  const Station& it = stations_[station];
  return it.code == 0 && now_ms - it.changed_ms >= level::element_settle_ms;
}

uint8_t Elements::judge_element(Station& station, uint16_t current, uint16_t voltage,
                                uint32_t now_ms) {
  const uint16_t set_sum = station.code * wire::scans_per_tick;
  const bool flowing = station.code && current >= element_judged_sum;
  const bool over = station.over.reached(
      flowing && current > set_sum + set_sum / 10 + over_margin_sum, level::element_samples);
  const bool open = station.open.reached(
      set_sum >= element_judged_sum && current < set_sum / 4, level::element_samples);
  const bool shorted = station.shorted.reached(flowing && is_short(current, voltage), level::element_samples);
  if (now_ms - station.changed_ms < level::element_settle_ms) return 0;
  return (over ? uint8_t(StationFlag::element_over) : 0) |
         (open ? uint8_t(StationFlag::element_open) : 0) |
         (shorted ? uint8_t(StationFlag::element_short) : 0);
}

bool Elements::judge(const Sums& sums, const wire::Limits& limits, uint32_t now_ms) {
  bool newly_over_stroke = false;
  for (uint8_t s = 0; s < board::stations; ++s) {
    Station& station = stations_[s];
    uint8_t found = judge_element(station, sums.current[s], sums.voltage[s], now_ms);
    if (station.on.ms(now_ms) > limits.element_on_limit_s[s] * 1000UL)
      found |= uint8_t(StationFlag::element_time);

    if (station.code && now_ms - station.changed_ms >= level::hot_settle_ms &&
        station.core.hot(sums.current[s], sums.voltage[s], sums.bath, limits.element_per_k[s]))
      found |= uint8_t(StationFlag::element_hot);

    const uint16_t lift = sums.lift[s];
    const bool outside = lift < limits.lift_low_code[s] * wire::scans_per_tick ||
                         lift > limits.lift_high_code[s] * wire::scans_per_tick;
    station.outside.note(outside, now_ms);
    if (station.outside.reached(now_ms, level::gauge_ms)) found |= uint8_t(StationFlag::gauge_fault);
    station.over_stroke.note(
        !outside && lift > limits.over_stroke_code[s] * wire::scans_per_tick, now_ms);
    if (station.over_stroke.reached(now_ms, level::gauge_ms)) {
      found |= uint8_t(StationFlag::over_stroke);
      newly_over_stroke |= !(station.flags & uint8_t(StationFlag::over_stroke));
    }

    station.flags |= found;
    if (station.flags) set_one(station, 0, now_ms);
  }
  return newly_over_stroke;
}

void Elements::refresh() const {
  for (uint8_t s = 0; s < board::stations; ++s) dac_write(s, stations_[s].code);
}

uint8_t Elements::switches() const {
  uint8_t closed = 0;
  for (uint8_t s = 0; s < board::stations; ++s)
    if (stations_[s].code) closed |= uint8_t(1 << s);
  return closed;
}
