// The bath's equations. Fast nodes are stepped exactly, properties that creep once a second.
#include "bath.h"

#include <math.h>

namespace plant {
namespace {
constexpr double kVaporisationJPerKg = 2.28e6;  // water at 90 degC, from memory
constexpr double kWaterKgPerL = 0.998, kGlycolKgPerL = 1.113;
constexpr double kRoomVapourKpa = 1.2;
constexpr double kLeastLitres = 0.3;
constexpr double kStillShare = 0.25;      // of the heat transfer that is left without stirring
constexpr double kStillLayers = 0.05;     // layers without stirring, per kelvin above ambient
constexpr double kLayersGrowS = 40.0, kLayersFadeS = 8.0;

// Antoine equation of water, 1..100 degC (coefficients from memory, checked in the tests).
double vapour_kpa(double t_c) {
  return 0.133322 * pow(10.0, 8.07131 - 1730.63 / (233.426 + t_c));
}

double water_boiling_c(double pressure_kpa) {
  return 1730.63 / (8.07131 - log10(pressure_kpa / 0.133322)) - 233.426;
}

// Rise above water for a glycol share by volume: 4 / 7.5 / 10 K at 33 / 50 / 60 %, +- 2 K.
double glycol_rise_k(double percent) { return percent * (0.0653 + 0.001694 * percent); }

double coolant_j_per_kg_k(double percent, double t_c) {
  return 4180.0 - 16.5 * percent + (t_c - 20.0) * (0.3 + 0.09 * percent);
}
}  // namespace

void Bath::start(double dt_s) {
  glycol_kg_ = model.fill_l * model.glycol_percent / 100.0 * kGlycolKgPerL;
  water_kg_ = model.fill_l * (1.0 - model.glycol_percent / 100.0) * kWaterKgPerL;
  bath_c_ = sheath_c_ = model.start_c;
  layers_k_ = 0;
  for (double& w : delay_w_) w = 0;
  prepare(dt_s);
}

void Bath::prepare(double dt_s) {
  step_s_ = dt_s;
  delay_steps_ = int(model.dead_s / dt_s + 0.5);
  if (delay_steps_ < 1) delay_steps_ = 1;
  if (delay_steps_ > kDelayMax) delay_steps_ = kDelayMax;
  if (delay_at_ >= delay_steps_) delay_at_ = 0;
  slow_steps_ = int(1.0 / dt_s + 0.5);
  steps_to_slow_ = 0;
  stirring_ = -1;
}

double Bath::level_l() const { return water_kg_ / kWaterKgPerL + glycol_kg_ / kGlycolKgPerL; }

double Bath::glycol_percent() const { return 100.0 * glycol_kg_ / kGlycolKgPerL / level_l(); }

void Bath::advance(const BathInput& in) {
  if (--steps_to_slow_ < 0) advance_slowly(in);
  double gain_w = delivered_w(in) + in.extra_w - in.units_w - evaporation_w_;
  gain_w -= model.loss_w_per_k * (bath_c_ - model.ambient_c);
  if (in.cooling) gain_w -= model.coil_w_per_k * (bath_c_ - model.coil_c);
  bath_c_ += gain_w * step_s_ / store_j_per_k_;
  if (bath_c_ > boiling_c_) {
    boiled_j_ += (bath_c_ - boiling_c_) * store_j_per_k_;
    bath_c_ = boiling_c_;
  }
}

// Heat that reaches the coolant now: what left the sheath one dead time ago.
double Bath::delivered_w(const BathInput& in) {
  const double store = model.sheath_s * model.sheath_w_per_k;
  if (in.stirring != stirring_) {
    stirring_ = in.stirring;
    sheath_flow_w_per_k_ = model.sheath_w_per_k * (kStillShare + (1.0 - kStillShare) * stirring_);
    sheath_keep_ = exp(-step_s_ * sheath_flow_w_per_k_ / store);
  }
  const double target_c = bath_c_ + in.heater_w / sheath_flow_w_per_k_;
  const double before_c = sheath_c_;
  sheath_c_ = target_c + (sheath_c_ - target_c) * sheath_keep_;
  const double out_w = delay_w_[delay_at_];
  delay_w_[delay_at_] = in.heater_w - store * (sheath_c_ - before_c) / step_s_;
  if (++delay_at_ >= delay_steps_) delay_at_ = 0;
  return out_w;
}

// Once a second: coolant lost, its properties, evaporation, boiling point, layers.
void Bath::advance_slowly(const BathInput& in) {
  const double second_s = slow_steps_ * step_s_;
  steps_to_slow_ = slow_steps_ - 1;
  water_kg_ -= (evaporation_w_ * second_s + boiled_j_) / kVaporisationJPerKg;
  boiled_j_ = 0;
  double keep = 1.0 - in.lost_l_per_min / 60.0 * second_s / level_l();
  if (keep * level_l() < kLeastLitres) keep = 1.0;
  water_kg_ *= keep;
  glycol_kg_ *= keep;
  if (water_kg_ < kLeastLitres) water_kg_ = kLeastLitres;

  const double percent = glycol_percent();
  store_j_per_k_ =
      (water_kg_ + glycol_kg_) * coolant_j_per_kg_k(percent, bath_c_) + model.vessel_j_per_k;
  boiling_c_ = water_boiling_c(model.pressure_kpa) + glycol_rise_k(percent);
  const double moles = water_kg_ / 18.0 + glycol_kg_ / 62.0;
  const double activity = water_kg_ / 18.0 / moles;
  const double drive = (activity * vapour_kpa(bath_c_) - kRoomVapourKpa) /
                       (vapour_kpa(90.0) - kRoomVapourKpa);
  const double open_w = model.evaporation_w_per_m2 * model.surface_m2 * (drive > 0 ? drive : 0);
  evaporation_w_ = model.lid > 0.5 && !in.lid_off ? open_w * model.lid_share : open_w;

  const double still_k =
      in.stirring < 0.5 ? kStillLayers * (bath_c_ - model.ambient_c) : in.stratified_k;
  const double lag_s = fabs(still_k) > fabs(layers_k_) ? kLayersGrowS : kLayersFadeS;
  layers_k_ += (still_k - layers_k_) * (1.0 - exp(-second_s / lag_s));
}

void Probe::prepare(double dt_s) {
  step_s_ = dt_s;
  keep_ = model.lag_s > 0 ? exp(-dt_s / model.lag_s) : 0.0;
}

double Probe::advance(double place_c, double error_k, double drift_k_per_h, Noise& noise) {
  drifted_k_ += drift_k_per_h * step_s_ / 3600.0;
  sheath_c_ = place_c + (sheath_c_ - place_c) * keep_;
  const double error = model.offset_k + model.slope_k_per_k * sheath_c_ + drifted_k_ + error_k;
  return platinum_ohm(sheath_c_ + error + model.noise_k * noise.gauss());
}

double platinum_ohm(double t_c) {
  return 100.0 * (1.0 + t_c * (3.9083e-3 - 5.775e-7 * t_c));
}

}  // namespace plant
