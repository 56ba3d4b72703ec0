// The bath: sheathed heater, coolant with losses and evaporation, mixing, boiling, probes.
#pragma once

#include "noise.h"

namespace plant {

struct BathModel {
  double start_c = 20.0;
  double ambient_c = 20.0;
  double pressure_kpa = 101.325;  // at the station, not reduced to sea level
  double fill_l = 8.0;
  double glycol_percent = 40.0;  // by volume, when filled
  double level_switch_share = 0.75;
  double vessel_j_per_k = 400.0;
  double loss_w_per_k = 1.7;
  double surface_m2 = 0.06;
  double evaporation_w_per_m2 = 15000.0;  // open water surface at 90 degC
  double lid_share = 0.1;                 // of the evaporation that passes the lid
  double lid = 1.0;
  double heater_w = 1500.0;
  double sheath_s = 10.0;
  double sheath_w_per_k = 30.0;
  double dead_s = 5.0;
  double coil_w_per_k = 6.0;
  double coil_c = 15.0;
  double mixing_k = 0.008;  // spread of the fluctuations at one place
};

// What acts on the bath in one step.
struct BathInput {
  double heater_w = 0, units_w = 0, extra_w = 0;
  double stirring = 1;  // 0 still .. 1 full speed
  double stratified_k = 0, lost_l_per_min = 0;
  bool cooling = false, lid_off = false;
};

class Bath {
 public:
  BathModel model;

  void start(double dt_s);
  void prepare(double dt_s);
  void advance(const BathInput& in);

  double temperature_c() const { return bath_c_; }  // mean of the coolant
  double sheath_c() const { return sheath_c_; }
  double boiling_c() const { return boiling_c_; }
  double layers_k() const { return layers_k_; }  // top minus bottom
  double level_l() const;
  double glycol_percent() const;
  bool level_ok() const { return level_l() >= model.level_switch_share * model.fill_l; }

 private:
  void advance_slowly(const BathInput& in);
  double delivered_w(const BathInput& in);

  static constexpr int kDelayMax = 1024;
  double delay_w_[kDelayMax] = {};
  int delay_steps_ = 1, delay_at_ = 0;
  int steps_to_slow_ = 0, slow_steps_ = 40;
  double step_s_ = 0.025, stirring_ = -1, sheath_keep_ = 0, sheath_flow_w_per_k_ = 0;
  double bath_c_ = 20, sheath_c_ = 20, boiling_c_ = 100, layers_k_ = 0;
  double water_kg_ = 0, glycol_kg_ = 0;
  double store_j_per_k_ = 1, evaporation_w_ = 0, boiled_j_ = 0;
};

// One platinum probe in its sheath.
struct ProbeModel {
  double lag_s = 6.0;
  double offset_k = 0.0;         // of its reading, at 0 degC
  double slope_k_per_k = 0.0;    // further error per kelvin above 0 degC
  double gradient_k = 0.0;       // its place minus the mean of the stirred bath
  double noise_k = 0.002;
  double bias_resistor = 1.0;  // 0: none from RTDIN+ to the bias of its converter
};

class Probe {
 public:
  ProbeModel model;
  void start(double at_c) { sheath_c_ = at_c; }
  void prepare(double dt_s);
  // One step at a place of the bath; returns the resistance in ohm. Drift stays when it ends.
  double advance(double place_c, double error_k, double drift_k_per_h, Noise& noise);

 private:
  double step_s_ = 0.025, keep_ = 0, sheath_c_ = 20, drifted_k_ = 0;
};

// Resistance of a Pt100 by IEC 60751, 0 degC and above.
double platinum_ohm(double t_c);

}  // namespace plant
