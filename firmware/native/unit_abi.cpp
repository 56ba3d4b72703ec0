// C interface to one unit alone under given records, for studies of many units.
#include "plant.h"

// Starts closed in balance with bath_c[0]; then each step of dt_s takes bath_c[i] and power_w[i].
// power_w may be null (none); wax_c, filled with the mean over the shells, may be null.
// Returns 0, or the 1-based place of an unknown name.
extern "C" int pb_unit_response(const char* const* names, const double* values, int parameters,
                                uint64_t seed, double dt_s, int64_t steps, const double* bath_c,
                                const double* power_w, double* lift_mm, double* wax_c) {
  plant::Unit unit;
  for (int i = 0; i < parameters; ++i) {
    double* place = plant::unit_parameter(unit.model, names[i]);
    if (!place) return i + 1;
    *place = values[i];
  }
  plant::Noise noise(seed, 1);
  if (steps > 0) unit.start(bath_c[0], dt_s, noise);
  for (int64_t i = 0; i < steps; ++i) {
    unit.advance(bath_c[i], 1.0, power_w ? power_w[i] : 0.0, noise);
    lift_mm[i] = unit.lift_mm();
    if (wax_c) wax_c[i] = unit.mean_wax_c();
  }
  return 0;
}
