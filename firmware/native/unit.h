// One wax thermostat: cup and wax shells, melting with play, pin with friction, heater, stop.
#pragma once

#include "noise.h"

namespace plant {

constexpr int kShellsMax = 8;

// Parameters; the defaults are the model unit that starts to open at 82 degC.
struct UnitModel {
  double melting_c = 90.0;
  double melting_width_k = 4.2;
  double wax_mg = 1300.0;
  double copper_mg = 900.0;
  double latent_j_per_g = 190.0;
  double wax_j_per_g_k = 2.3;
  double solid_cm3_per_g = 1.10;
  double solid_expansion_per_k = 4e-4;
  double melt_ratio = 1.11;
  double liquid_expansion_per_k = 8.5e-4;
  double pin_mm = 4.3;
  double cavity_mm3 = 1485.0;
  double setting_mm = 0.0;
  double play_k = 2.5;
  double friction_mm = 0.04;
  double stop_mm = 12.0;
  double cup_j_per_k = 5.8;
  double film_w_per_k = 1.5;
  double film_growth_per_k = 0.0;  // of film_w_per_k, from its value at 80 degC
  double film_excess_per_k = 0.0;  // of film_w_per_k, a kelvin of cup over bath
  double film_exponent = 0.0;      // film over (excess / 5 K) to this power
  double wax_w_per_k = 0.8;        // from the wax, on average over its shells, to the cup
  double core_share = 1.0 / 3.0;   // of the resistance 1 / wax_w_per_k: between the shells
  double shells = 1.0;
  double cup_power_share = 0.0;  // of the heater's power: enters the cup, not the core
  double heater_ohm = 15.0;  // at 25 degC; 0: the unit has no heater
  double heater_per_k = 2e-4;
  double start_scatter_k = 0.0;  // spread of the start from cycle to cycle
};

// What is wrong with the unit now; all zero: nothing.
struct UnitWrong {
  double film_divisor = 0;  // above 1: air round the element
  double core_divisor = 0;  // above 0: no wax; times less heat from the core to the cup
  double stuck_mm = 0;
  double leaked_mg = 0;
  double weak_spring_mm = 0;
  double shifted_k = 0;
};

class Unit {
 public:
  UnitModel model;
  UnitWrong wrong;

  // Makes the unit cold and closed at a temperature, ready for steps of dt_s.
  void start(double at_c, double dt_s, Noise& noise);
  // Takes changed parameters into the working constants.
  void prepare(double dt_s);
  // One step: surroundings at bath_c, film scaled by stirring (1 = stirred), power in the wax.
  void advance(double bath_c, double stirring, double power_w, Noise& noise);

  double lift_mm() const { return lift_mm_; }
  double volume_lift_mm() const { return volume_lift_mm_; }  // before friction, may be negative
  double core_c() const { return shell_[0].wax_c; }
  double mean_wax_c() const;
  double cup_c() const { return cup_c_; }
  double cycle_offset_k() const { return cycle_offset_k_; }
  double heat_from_bath_w() const { return heat_from_bath_w_; }
  double heater_ohm() const {  // at the temperature of the core
    return model.heater_ohm * (1.0 + model.heater_per_k * (core_c() - 25.0));
  }

 private:
  struct Shell {
    double wax_c, theta_c, melted;
  };
  double capacity_j_per_k(const Shell& shell, double heating_w) const;
  double film_w_per_k(double bath_c) const;
  void conduct(double bath_c, double film_w_per_k, double power_w);
  void melt(bool all);
  void move_pin();
  void draw_cycle(Noise& noise);

  int shells_ = 1;
  double step_s_ = 0.025;
  double outward_w_per_k_[kShellsMax] = {};  // from a shell to the next one or to the cup
  double shell_g_ = 0, sensible_j_per_k_ = 0, latent_j_ = 0;
  double liquid_cm3_per_g_ = 0;
  double offset_k_ = 0;
  Shell shell_[kShellsMax] = {};
  double cup_c_ = 0, pin_mm_ = 0, lift_mm_ = 0, volume_lift_mm_ = 0;
  double cycle_offset_k_ = 0, heat_from_bath_w_ = 0, leaked_mg_ = 0, core_divisor_ = 0;
  double area_mm2_ = 1;
  bool opened_ = false;
};

}  // namespace plant
