// One station: the unit in its place, its lift gauge and its element channel.
#pragma once

#include "fault.h"
#include "noise.h"
#include "unit.h"

namespace plant {

// Full scale of the converters; a ratio of 1 is the highest code.
constexpr double kLiftFullMm = 20.0;
constexpr double kCurrentFullA = 2.0475;
constexpr double kVoltageFullV = 20.475;
constexpr double kSetPointAPerCode = 0.0005;

struct StationModel {
  double blank = 0.0;       // 1: a solid bar stands here
  double gradient_k = 0.0;  // station minus mean of the stirred bath
  double gauge_zero_mm = 0.5;
  double gauge_gain = 1.0;
  double gauge_noise_mm = 0.002;
  double expansion_mm_per_k = 0.0005;  // of the fixture, from 20 degC
  double expansion_rising_lag_s = 0.0;
  double expansion_falling_lag_s = 0.0;
  double supply_v = 18.0;
  double lead_ohm = 0.2;
  double source_gain = 1.0;  // current that flows over current asked
  double current_gain = 1.0;  // current read over current that flows
  double voltage_gain = 1.0;
  double current_offset_a = 0.0;  // of the shunt's amplifier: flows less, reads as asked
  double voltage_offset_v = 0.0;
  double current_noise_a = 0.0003;
  double voltage_noise_v = 0.003;
};

struct StationInput {
  double now_s, place_c, stirring, boiling_c;
  bool powered;    // the elements' supply is there
  bool supplied;   // and its contactor closed
  bool switched;   // the station's own switch is closed
  uint16_t code;   // set-point
};

class Station {
 public:
  Station(uint64_t seed, int number) : number_(number), fresh_noise_(seed, 100 + number), noise_(fresh_noise_) {}

  StationModel model;
  Unit unit;
  double present = 0.0;  // 1: a unit stands here

  void start(double at_c, double dt_s);
  void prepare(double dt_s);
  void advance(const StationInput& in, const FaultSchedule& faults);

  double place_c() const { return place_c_; }
  double current_a() const { return current_a_; }
  double heat_from_bath_w() const { return present > 0.5 ? unit.heat_from_bath_w() : 0.0; }
  double element_w() const { return element_w_; }
  double lift_mm() const { return present > 0.5 ? lift_mm_ : 0.0; }
  double gauge_ratio() const { return gauge_ratio_; }
  double current_ratio() const { return current_ratio_; }
  double voltage_ratio() const { return voltage_ratio_; }

 private:
  void harm_unit(const FaultSchedule& faults);
  void drive_element(const StationInput& in, const FaultSchedule& faults);
  void read_gauge(const StationInput& in, const FaultSchedule& faults);
  double expansion_mm();
  double bubble_mm(const StationInput& in, const FaultSchedule& faults);

  int number_;
  Noise fresh_noise_, noise_;
  double step_s_ = 0.025, rising_keep_ = 0, falling_keep_ = 0;
  double place_c_ = 20, fixture_c_ = 20, lift_mm_ = 0, plunger_mm_ = 0;
  double bubble_height_mm_ = 0, bubble_until_s_ = 0;
  double current_a_ = 0, element_w_ = 0;
  double gauge_ratio_ = 0.025, current_ratio_ = 0, voltage_ratio_ = 0;
};

}  // namespace plant
