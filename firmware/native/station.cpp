// What gauge and element channel of a station show, faults included.
#include "station.h"

#include <math.h>

namespace plant {
namespace {
constexpr double kOpenOhm = 1e9;
constexpr double kShortOhm = 0.1;
constexpr double kBubblesPerS = 0.04;
constexpr double kNearBoilingK = 3.0, kBoilingBubbleMm = 0.15;

double share(double ratio) { return ratio < 0 ? 0 : ratio > 1 ? 1 : ratio; }
}  // namespace

void Station::start(double at_c, double dt_s) {
  noise_ = fresh_noise_;  // a start that is repeated draws the same
  place_c_ = fixture_c_ = at_c;
  unit.start(at_c, dt_s, noise_);
  prepare(dt_s);
}

void Station::prepare(double dt_s) {
  step_s_ = dt_s;
  const double up_s = model.expansion_rising_lag_s, down_s = model.expansion_falling_lag_s;
  rising_keep_ = up_s > 0 ? exp(-dt_s / up_s) : 0.0;
  falling_keep_ = down_s > 0 ? exp(-dt_s / down_s) : 0.0;
  unit.prepare(dt_s);
}

void Station::advance(const StationInput& in, const FaultSchedule& faults) {
  place_c_ = in.place_c;
  harm_unit(faults);
  drive_element(in, faults);
  if (present > 0.5) unit.advance(place_c_, in.stirring, element_w_, noise_);
  lift_mm_ = unit.lift_mm() + faults.size(Fault::OverStroke, number_);
  read_gauge(in, faults);
}

// Wax that leaked or is gone and an overheated element stay harmed when the cause is over.
void Station::harm_unit(const FaultSchedule& faults) {
  UnitWrong& wrong = unit.wrong;
  wrong.film_divisor = faults.size(Fault::AirRoundElement, number_);
  wrong.stuck_mm = faults.size(Fault::UnitStuck, number_);
  wrong.weak_spring_mm = faults.size(Fault::SpringWeak, number_);
  if (faults.on(Fault::Overheated, number_))
    wrong.shifted_k = faults.size(Fault::Overheated, number_);
  if (faults.on(Fault::Waxless, number_))
    wrong.core_divisor = fmax(faults.size(Fault::Waxless, number_), 1.0);
  wrong.leaked_mg += faults.size(Fault::WaxLeak, number_) * step_s_ / 3600.0;
}

void Station::drive_element(const StationInput& in, const FaultSchedule& faults) {
  double element_ohm = present > 0.5 && unit.model.heater_ohm > 0 ? unit.heater_ohm() : kOpenOhm;
  if (faults.on(Fault::ElementOpen, number_)) element_ohm = kOpenOhm;
  if (faults.on(Fault::ElementShort, number_)) element_ohm = kShortOhm;
  const bool wrong_supply = faults.on(Fault::SupplyWrong, number_);
  const double supply_v =
      wrong_supply ? faults.size(Fault::SupplyWrong, number_) : model.supply_v;
  double asked_a = in.code * kSetPointAPerCode * model.source_gain - model.current_offset_a;
  if (!in.supplied || !in.switched || asked_a < 0) asked_a = 0;
  if (asked_a > 0) asked_a += faults.size(Fault::ElementOver, number_);
  if (in.supplied && faults.on(Fault::ElementFeedStuck, number_))
    asked_a = faults.size(Fault::ElementFeedStuck, number_);
  // What goes past the element the sink takes off: it holds the sum.
  const double past_a = in.powered ? faults.size(Fault::BypassClosed, number_) : 0.0;
  asked_a = asked_a > past_a ? asked_a - past_a : 0.0;
  const double most_a = supply_v / (element_ohm + model.lead_ohm);
  current_a_ = asked_a < most_a ? asked_a : most_a;
  const double volt = current_a_ * (element_ohm + model.lead_ohm);
  element_w_ = element_ohm > kShortOhm ? current_a_ * current_a_ * element_ohm : 0.0;
  const double read_a = (current_a_ + past_a) * model.current_gain + model.current_offset_a +
                        model.current_noise_a * noise_.gauss();
  const double read_v = volt * model.voltage_gain + model.voltage_offset_v +
                        model.voltage_noise_v * noise_.gauss();
  current_ratio_ = share(read_a / kCurrentFullA);
  voltage_ratio_ = share(read_v / kVoltageFullV);
}

void Station::read_gauge(const StationInput& in, const FaultSchedule& faults) {
  double plunger_mm = lift_mm() + expansion_mm() + bubble_mm(in, faults);
  if (faults.on(Fault::VentPin, number_))
    plunger_mm += faults.size(Fault::VentPin, number_) * fabs(noise_.gauss());
  if (fabs(plunger_mm - plunger_mm_) > faults.size(Fault::GaugeSticking, number_))
    plunger_mm_ = plunger_mm;
  const double shown_mm = model.gauge_zero_mm + model.gauge_gain * plunger_mm_ +
                          model.gauge_noise_mm * noise_.gauss();
  gauge_ratio_ = share(shown_mm / kLiftFullMm);
  if (faults.on(Fault::GaugeOpen, number_)) gauge_ratio_ = 1.0;
  if (faults.on(Fault::GaugeShort, number_)) gauge_ratio_ = 0.0;
}

// The fixture with a unit or a bar in it; an empty one leaves the gauge at its zero.
double Station::expansion_mm() {
  fixture_c_ = place_c_ + (fixture_c_ - place_c_) *
                              (place_c_ > fixture_c_ ? rising_keep_ : falling_keep_);
  const bool carries = present > 0.5 || model.blank > 0.5;
  return carries ? model.expansion_mm_per_k * (fixture_c_ - 20.0) : 0.0;
}

// Bubbles rise under plate or gauge, stay some seconds and leave; near boiling they always do.
double Station::bubble_mm(const StationInput& in, const FaultSchedule& faults) {
  const bool boiling = place_c_ > in.boiling_c - kNearBoilingK;
  const bool gassing =
      faults.on(Fault::Bubbles, number_) && place_c_ > 70.0 && place_c_ < 95.0;
  if (in.now_s >= bubble_until_s_) {
    bubble_height_mm_ = 0;
    if ((boiling || gassing) && noise_.uniform() < kBubblesPerS * step_s_) {
      const double largest_mm = gassing ? faults.size(Fault::Bubbles, number_) : kBoilingBubbleMm;
      bubble_height_mm_ = largest_mm * (0.2 + 0.8 * noise_.uniform());
      bubble_until_s_ = in.now_s + 2.0 + 8.0 * noise_.uniform();
    }
  }
  return bubble_height_mm_;
}

}  // namespace plant
