// The plant: bath, probes and six stations, driven by the controller's outputs.
#pragma once

#include "bath.h"
#include "fault.h"
#include "noise.h"
#include "station.h"

namespace plant {

// What the controller switches and sets.
struct Drive {
  bool contactor, heater, element_feed, stirrer, cooling;
  bool station_switch[kStations];
  uint16_t element_code[kStations];  // 0..4095, 0.5 mA each
};

// What the controller's wires carry.
struct Signals {
  double probe_ohm[2];  // bath, guard; 1e9 open, 0 shorted
  double gauge_ratio[kStations], current_ratio[kStations], voltage_ratio[kStations];  // 0..1
  double reference_ratio[3];  // of the converters of gauge, current and voltage
  bool level_ok, stirrer_turning, emergency_stop_closed, heater_live, contactor_open;
};

class Plant {
 public:
  explicit Plant(uint64_t seed);
  // Sets a parameter by its dotted name, e.g. "unit.3.wax_mg"; false for an unknown one.
  // Those that describe the beginning count until the first step.
  bool set(const char* key, double value);
  // Reads a parameter or a true value, e.g. "unit.3.lift_mm".
  bool get(const char* key, double* value) const;
  // Adds a fault present from at_s up to until_s; station 0 where the kind is of the bench.
  bool fault(const char* kind, int station, double at_s, double until_s, double size);
  void advance(double dt_s, const Drive& drive);
  const Signals& signals() const { return signals_; }
  double time_s() const { return time_s_; }

 private:
  friend struct Keys;
  void start(double dt_s);
  void prepare(double dt_s);
  void switch_mains(const Drive& drive);
  void turn_stirrer(bool asked);
  void advance_bath(const Drive& drive);
  void advance_probes();
  void advance_stations(const Drive& drive);
  void stray_converters();
  double place_c(int sensor, double gradient_k, double depth);

  static constexpr int kProbes = 2, kSensors = kProbes + kStations;
  Bath bath_;
  Probe probe_[kProbes];
  Station station_[kStations];
  FaultSchedule faults_;
  Noise noise_;
  Drifting mixing_[kSensors];
  Signals signals_ = {};
  bool changed_ = true, contactor_closed_ = false, heater_flows_ = false;
  double dt_s_ = 0.025, time_s_ = 0, stirrer_speed_ = 0, stirring_ = 0;
};

// All names set() takes, one a line; get() takes these and the true values.
const char* parameter_names();
// The parameter of a unit by its name without "unit.N."; null for an unknown one.
double* unit_parameter(UnitModel& model, const char* name);

}  // namespace plant
