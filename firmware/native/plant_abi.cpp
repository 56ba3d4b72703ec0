// C interface to the plant without a controller, and to the names it knows.
#include <math.h>
#include <string>

#include "plant.h"

using plant::kStations;
using plant::Plant;

namespace {
constexpr int kSwitches = 5;

plant::Drive drive_of(const uint16_t* numbers) {
  plant::Drive d = {};
  d.contactor = numbers[0];
  d.heater = numbers[1];
  d.element_feed = numbers[2];
  d.stirrer = numbers[3];
  d.cooling = numbers[4];
  for (int i = 0; i < kStations; ++i) {
    d.station_switch[i] = numbers[kSwitches + i];
    d.element_code[i] = numbers[kSwitches + kStations + i];
  }
  return d;
}
}  // namespace

extern "C" {

// Names pb_set takes, one a line.
const char* pb_keys() { return plant::parameter_names(); }

// Fault kinds, one a line: name, "station" or "bench", then what its size means if it has one.
const char* pb_fault_kinds() {
  static const std::string text = [] {
    std::string lines;
    for (const plant::FaultKind& k : plant::kFaultKinds)
      lines += std::string(k.name) + (k.at_station ? " station " : " bench ") + k.size + "\n";
    return lines;
  }();
  return text.c_str();
}

void* pb_plant_create(uint64_t seed) { return new Plant(seed); }

void pb_plant_destroy(void* handle) { delete static_cast<Plant*>(handle); }

int pb_plant_set(void* handle, const char* key, double value) {
  return static_cast<Plant*>(handle)->set(key, value) ? 0 : -1;
}

double pb_plant_get(void* handle, const char* key) {
  double value = NAN;
  static_cast<const Plant*>(handle)->get(key, &value);
  return value;
}

int pb_plant_fault(void* handle, const char* kind, int station, double at_s, double until_s,
                   double size) {
  return static_cast<Plant*>(handle)->fault(kind, station, at_s, until_s, size) ? 0 : -1;
}

// Steps under one unchanged drive: contactor, heater, element feed, stirrer, cooling, then six
// station switches and six element codes.
void pb_plant_advance(void* handle, const uint16_t* drive, double dt_s, int64_t steps) {
  const plant::Drive d = drive_of(drive);
  for (int64_t i = 0; i < steps; ++i) static_cast<Plant*>(handle)->advance(dt_s, d);
}

// Fills 39 numbers: two probe resistances, six gauge, current and voltage ratios, and level ok,
// stirrer turning, emergency stop closed, heater live, contactor open; the time of a spike on the
// stop's line; of each probe's leads force open, input loose, input at bias and the share then
// read; select lines held low and high, MISO low, MISO high, clock dead.
void pb_plant_signals(void* handle, double* out) {
  const plant::Signals& s = static_cast<const Plant*>(handle)->signals();
  for (double ohm : s.probe_ohm) *out++ = ohm;
  for (double ratio : s.gauge_ratio) *out++ = ratio;
  for (double ratio : s.current_ratio) *out++ = ratio;
  for (double ratio : s.voltage_ratio) *out++ = ratio;
  for (bool on : {s.level_ok, s.stirrer_turning, s.emergency_stop_closed, s.heater_live,
                  s.contactor_open})
    *out++ = on;
  *out++ = s.stop_spike_s;
  for (const plant::Leads& leads : s.leads) {
    for (bool broken : {leads.force_open, leads.input_loose, leads.input_at_bias}) *out++ = broken;
    *out++ = leads.loose_share;
  }
  for (double wire : {double(s.bus.select_low), double(s.bus.select_high), double(s.bus.miso_low),
                      double(s.bus.miso_high), double(s.bus.clock_dead)})
    *out++ = wire;
}

}  // extern "C"
