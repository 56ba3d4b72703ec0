// The unit's equations, stepped implicitly: stable for any step and any parameter.
#include "unit.h"

#include <math.h>

namespace plant {
namespace {
constexpr double kPi = 3.14159265358979323846;
constexpr double kCopperJPerGK = 0.385;
constexpr double kFilmReferenceC = 80.0;
// Stirring still carries heat where free convection would carry none: below this excess the film
// of the power law stays as it is.
constexpr double kFilmExcessK = 5.0, kLeastExcessK = 0.1;
constexpr double kOpenedMm = 0.5;   // a cycle counts once the valve was this far open ...
constexpr double kClosedMm = -0.5;  // ... and is over when the wax has drawn back this far

constexpr double kTraceMg = 1.0;   // of wax, where all of it is gone

double clip(double x, double low, double high) { return x < low ? low : x > high ? high : x; }
}  // namespace

void Unit::start(double at_c, double dt_s, Noise& noise) {
  opened_ = false;
  cup_c_ = at_c;
  draw_cycle(noise);
  for (Shell& s : shell_) s.wax_c = s.theta_c = at_c;
  prepare(dt_s);
  pin_mm_ = volume_lift_mm_;
  move_pin();
}

void Unit::prepare(double dt_s) {
  step_s_ = dt_s;
  shells_ = int(clip(model.shells, 1, kShellsMax));
  const double core_share = clip(model.core_share, 0.01, 0.95);
  const double between = (shells_ - 1) / 2.0 / core_share, wall = 1.0 - core_share;
  leaked_mg_ = wrong.leaked_mg;
  core_divisor_ = wrong.core_divisor;
  const bool waxless = core_divisor_ > 0;
  const double outward_w_per_k = model.wax_w_per_k / (waxless ? core_divisor_ : 1.0);
  for (int i = 0; i + 1 < shells_; ++i) outward_w_per_k_[i] = outward_w_per_k * between;
  outward_w_per_k_[shells_ - 1] = outward_w_per_k / (shells_ > 1 ? wall : 1.0);
  const double wax_mg = waxless ? kTraceMg : clip(model.wax_mg - leaked_mg_, kTraceMg, 1e6);
  shell_g_ = wax_mg / 1000.0 / shells_;
  sensible_j_per_k_ =
      shell_g_ * model.wax_j_per_g_k + model.copper_mg / 1000.0 / shells_ * kCopperJPerGK;
  latent_j_ = shell_g_ * model.latent_j_per_g;
  const double solid = 1.0 + model.solid_expansion_per_k * (model.melting_c - 20.0);
  liquid_cm3_per_g_ = model.solid_cm3_per_g * solid * model.melt_ratio;
  area_mm2_ = kPi / 4.0 * model.pin_mm * model.pin_mm;
  offset_k_ = cycle_offset_k_ + wrong.shifted_k;
  melt(true);
}

void Unit::advance(double bath_c, double stirring, double power_w, Noise& noise) {
  if (wrong.leaked_mg != leaked_mg_ || wrong.core_divisor != core_divisor_ ||
      offset_k_ != cycle_offset_k_ + wrong.shifted_k)
    prepare(step_s_);
  double film = film_w_per_k(bath_c) * stirring;
  if (wrong.film_divisor > 1.0) film /= wrong.film_divisor;
  conduct(bath_c, film, power_w);
  melt(false);
  move_pin();
  if (lift_mm_ > kOpenedMm) opened_ = true;
  if (opened_ && volume_lift_mm_ < kClosedMm) {
    opened_ = false;
    draw_cycle(noise);
  }
}

// What passes from bath to cup a kelvin between them, by the cup's temperature and its excess.
double Unit::film_w_per_k(double bath_c) const {
  const double excess_k = fabs(cup_c_ - bath_c), n = model.film_excess_per_k;
  double film = model.film_w_per_k * (1.0 + model.film_growth_per_k * (cup_c_ - kFilmReferenceC));
  film *= n < 0 ? 1.0 / (1.0 - n * excess_k) : 1.0 + n * excess_k;
  if (model.film_exponent != 0)
    film *= pow(fmax(excess_k, kLeastExcessK) / kFilmExcessK, model.film_exponent);
  return film;
}

// Latent heat counts only while theta moves: at the edge of the play the shell is pushed against.
double Unit::capacity_j_per_k(const Shell& s, double heating_w) const {
  const bool moving =
      heating_w > 0 ? s.wax_c >= s.theta_c : s.wax_c + model.play_k <= s.theta_c;
  if (!moving) return sensible_j_per_k_;
  return sensible_j_per_k_ + latent_j_ * s.melted * (1.0 - s.melted) / model.melting_width_k;
}

// Backward Euler over the chain core .. outermost shell, cup; the heater sits in the core.
void Unit::conduct(double bath_c, double film_w_per_k, double power_w) {
  double carry[kShellsMax], known[kShellsMax];  // T[i] = known[i] + carry[i] * T[i + 1]
  double inner_w_per_k = 0, inner_carry = 0, inner_known = 0;
  for (int i = 0; i < shells_; ++i) {
    const Shell& s = shell_[i];
    const double outer_c = i + 1 < shells_ ? shell_[i + 1].wax_c : cup_c_;
    const double inner_c = i > 0 ? shell_[i - 1].wax_c : s.wax_c;
    const double source_w = i == 0 ? power_w * (1.0 - model.cup_power_share) : 0.0;
    const double outer_w_per_k = outward_w_per_k_[i];
    const double heating_w = outer_w_per_k * (outer_c - s.wax_c) +
                             inner_w_per_k * (inner_c - s.wax_c) + source_w;
    const double store = capacity_j_per_k(s, heating_w) / step_s_;
    const double scale = 1.0 / (store + outer_w_per_k + inner_w_per_k * (1.0 - inner_carry));
    carry[i] = inner_carry = outer_w_per_k * scale;
    known[i] = inner_known =
        (store * s.wax_c + source_w + inner_w_per_k * inner_known) * scale;
    inner_w_per_k = outer_w_per_k;
  }
  const double store = model.cup_j_per_k / step_s_;
  cup_c_ = (store * cup_c_ + film_w_per_k * bath_c + inner_w_per_k * inner_known +
            power_w * model.cup_power_share) /
           (store + film_w_per_k + inner_w_per_k * (1.0 - inner_carry));
  heat_from_bath_w_ = film_w_per_k * (bath_c - cup_c_);
  double outer_c = cup_c_;
  for (int i = shells_ - 1; i >= 0; --i) outer_c = shell_[i].wax_c = known[i] + carry[i] * outer_c;
}

// Play, melted share and volume; an unmoved shell keeps its share.
void Unit::melt(bool all) {
  double volume_mm3 = 0;
  for (int i = 0; i < shells_; ++i) {
    Shell& s = shell_[i];
    const double theta_c = clip(s.theta_c, s.wax_c, s.wax_c + model.play_k);
    const double c = theta_c - offset_k_;
    if (all || theta_c != s.theta_c)
      s.melted = 1.0 / (1.0 + exp((model.melting_c - c) / model.melting_width_k));
    s.theta_c = theta_c;
    const double solid =
        model.solid_cm3_per_g * (1.0 + model.solid_expansion_per_k * (c - 20.0));
    const double liquid =
        liquid_cm3_per_g_ * (1.0 + model.liquid_expansion_per_k * (c - model.melting_c));
    volume_mm3 += 1000.0 * shell_g_ * (solid + s.melted * (liquid - solid));
  }
  volume_lift_mm_ = (volume_mm3 - model.cavity_mm3) / area_mm2_ + model.setting_mm;
}

void Unit::move_pin() {
  const double x = volume_lift_mm_;
  if (wrong.stuck_mm > 0) {
    if (fabs(x - pin_mm_) > wrong.stuck_mm) pin_mm_ = x;
  } else {
    const double half = model.friction_mm / 2.0;
    pin_mm_ = clip(pin_mm_, x - half, x + half + wrong.weak_spring_mm);
  }
  lift_mm_ = clip(pin_mm_, 0.0, model.stop_mm);
}

void Unit::draw_cycle(Noise& noise) { cycle_offset_k_ = model.start_scatter_k * noise.gauss(); }

double Unit::mean_wax_c() const {
  double sum_c = 0;
  for (int i = 0; i < shells_; ++i) sum_c += shell_[i].wax_c;
  return sum_c / shells_;
}

}  // namespace plant
