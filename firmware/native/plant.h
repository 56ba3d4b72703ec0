// The plant: bath, probes and six stations, driven by the controller's outputs.
#pragma once

#include "bath.h"
#include "chain.h"
#include "fault.h"
#include "noise.h"
#include "station.h"

namespace plant {

// A probe's leads at its converter, of which one may be broken.
struct Leads {
  bool force_open;     // FORCE+ or FORCE-: no current, so the ratio means nothing
  bool input_loose;    // RTDIN+ or RTDIN-, held by nothing
  bool input_at_bias;  // RTDIN+, pulled up by its resistor
  double loose_share;  // of full scale, what is then read
};

// What is wrong with the wires of the bus; bit 0 of a mask is select line A.
struct BusFaults {
  uint8_t select_low, select_high;
  bool miso_low, miso_high, clock_dead;
  bool any;  // of these
};

// What the controller's wires carry.
struct Signals {
  double probe_ohm[2];  // bath, guard; 1e9 open, 0 shorted
  Leads leads[2];
  BusFaults bus;
  double gauge_ratio[kStations], current_ratio[kStations], voltage_ratio[kStations];  // 0..1
  double reference_ratio[3];  // of the converters of gauge, current and voltage
  bool level_ok, stirrer_turning, emergency_stop_closed, heater_live, contactor_open;
  double stop_spike_s;  // above 0: the stop's line reads closed again so long after the step
};

class Plant {
 public:
  explicit Plant(uint64_t seed);
  // Sets a parameter by its dotted name, e.g. "unit.3.wax_mg"; false for an unknown one.
  // Those that describe the beginning count until the first step. "chain.cut_out_reset" presses
  // the cut-out's button.
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
  void take_faults();
  Leads leads_of(int probe) const;
  void switch_chain(const Drive& drive);
  void read_stop_line();
  void turn_stirrer(bool asked);
  void advance_bath(const Drive& drive);
  void advance_probes();
  void advance_stations(const Drive& drive);
  void stray_converters();
  double place_c(int sensor, double gradient_k, double depth);

  static constexpr int kProbes = 2, kSensors = kProbes + kStations;
  Bath bath_;
  Chain chain_;
  Probe probe_[kProbes];
  Station station_[kStations];
  FaultSchedule faults_;
  Noise noise_;
  Drifting mixing_[kSensors];
  Signals signals_ = {};
  bool changed_ = true, spiked_ = false;
  double dt_s_ = 0.025, time_s_ = 0, stirrer_speed_ = 0, stirring_ = 0, spike_left_s_ = 0;
};

// All names set() takes, one a line; get() takes these and the true values.
const char* parameter_names();
// The parameter of a unit by its name without "unit.N."; null for an unknown one.
double* unit_parameter(UnitModel& model, const char* name);

}  // namespace plant
