// Dotted names of the plant's parameters and true values; the only list of them.
#include <string.h>

#include <string>

#include "plant.h"

namespace plant {
namespace {

template <class T>
struct Key {
  const char* name;
  double T::*member;
};

template <class T>
struct Truth {
  const char* name;
  double (*read)(const T&);
};

const Key<BathModel> kBath[] = {
    {"start_c", &BathModel::start_c},
    {"ambient_c", &BathModel::ambient_c},
    {"pressure_kpa", &BathModel::pressure_kpa},
    {"fill_l", &BathModel::fill_l},
    {"glycol_percent", &BathModel::glycol_percent},
    {"level_switch_share", &BathModel::level_switch_share},
    {"vessel_j_per_k", &BathModel::vessel_j_per_k},
    {"loss_w_per_k", &BathModel::loss_w_per_k},
    {"surface_m2", &BathModel::surface_m2},
    {"evaporation_w_per_m2", &BathModel::evaporation_w_per_m2},
    {"lid_share", &BathModel::lid_share},
    {"lid", &BathModel::lid},
    {"heater_w", &BathModel::heater_w},
    {"sheath_s", &BathModel::sheath_s},
    {"sheath_w_per_k", &BathModel::sheath_w_per_k},
    {"dead_s", &BathModel::dead_s},
    {"coil_w_per_k", &BathModel::coil_w_per_k},
    {"coil_c", &BathModel::coil_c},
    {"mixing_k", &BathModel::mixing_k},
};

const Key<ChainModel> kChain[] = {
    {"cut_out_c", &ChainModel::cut_out_c},
    {"cut_out_lag_s", &ChainModel::cut_out_lag_s},
    {"cut_out_reset_k", &ChainModel::cut_out_reset_k},
    {"level_delay_s", &ChainModel::level_delay_s},
    {"contactor_close_s", &ChainModel::contactor_close_s},
    {"contactor_open_s", &ChainModel::contactor_open_s},
    {"feed_close_s", &ChainModel::feed_close_s},
    {"feed_open_s", &ChainModel::feed_open_s},
    {"heater_relay_close_s", &ChainModel::heater_relay_close_s},
    {"heater_relay_open_s", &ChainModel::heater_relay_open_s},
    {"heater_sense_close_s", &ChainModel::heater_sense_close_s},
    {"heater_sense_open_s", &ChainModel::heater_sense_open_s},
};

const Key<ProbeModel> kProbe[] = {
    {"lag_s", &ProbeModel::lag_s},
    {"offset_k", &ProbeModel::offset_k},
    {"slope_k_per_k", &ProbeModel::slope_k_per_k},
    {"gradient_k", &ProbeModel::gradient_k},
    {"noise_k", &ProbeModel::noise_k},
    {"bias_resistor", &ProbeModel::bias_resistor},
};

const Key<StationModel> kStation[] = {
    {"blank", &StationModel::blank},
    {"gradient_k", &StationModel::gradient_k},
    {"gauge_zero_mm", &StationModel::gauge_zero_mm},
    {"gauge_gain", &StationModel::gauge_gain},
    {"gauge_noise_mm", &StationModel::gauge_noise_mm},
    {"expansion_mm_per_k", &StationModel::expansion_mm_per_k},
    {"expansion_rising_lag_s", &StationModel::expansion_rising_lag_s},
    {"expansion_falling_lag_s", &StationModel::expansion_falling_lag_s},
    {"supply_v", &StationModel::supply_v},
    {"lead_ohm", &StationModel::lead_ohm},
    {"source_gain", &StationModel::source_gain},
    {"current_gain", &StationModel::current_gain},
    {"voltage_gain", &StationModel::voltage_gain},
    {"current_offset_a", &StationModel::current_offset_a},
    {"voltage_offset_v", &StationModel::voltage_offset_v},
    {"current_noise_a", &StationModel::current_noise_a},
    {"voltage_noise_v", &StationModel::voltage_noise_v},
};

const Key<UnitModel> kUnit[] = {
    {"melting_c", &UnitModel::melting_c},
    {"melting_width_k", &UnitModel::melting_width_k},
    {"wax_mg", &UnitModel::wax_mg},
    {"copper_mg", &UnitModel::copper_mg},
    {"latent_j_per_g", &UnitModel::latent_j_per_g},
    {"wax_j_per_g_k", &UnitModel::wax_j_per_g_k},
    {"solid_cm3_per_g", &UnitModel::solid_cm3_per_g},
    {"solid_expansion_per_k", &UnitModel::solid_expansion_per_k},
    {"melt_ratio", &UnitModel::melt_ratio},
    {"liquid_expansion_per_k", &UnitModel::liquid_expansion_per_k},
    {"pin_mm", &UnitModel::pin_mm},
    {"cavity_mm3", &UnitModel::cavity_mm3},
    {"setting_mm", &UnitModel::setting_mm},
    {"play_k", &UnitModel::play_k},
    {"friction_mm", &UnitModel::friction_mm},
    {"stop_mm", &UnitModel::stop_mm},
    {"cup_j_per_k", &UnitModel::cup_j_per_k},
    {"film_w_per_k", &UnitModel::film_w_per_k},
    {"film_growth_per_k", &UnitModel::film_growth_per_k},
    {"film_excess_per_k", &UnitModel::film_excess_per_k},
    {"film_exponent", &UnitModel::film_exponent},
    {"wax_w_per_k", &UnitModel::wax_w_per_k},
    {"core_share", &UnitModel::core_share},
    {"shells", &UnitModel::shells},
    {"cup_power_share", &UnitModel::cup_power_share},
    {"heater_ohm", &UnitModel::heater_ohm},
    {"heater_per_k", &UnitModel::heater_per_k},
    {"start_scatter_k", &UnitModel::start_scatter_k},
};

const Truth<Bath> kBathTruth[] = {
    {"temperature_c", [](const Bath& b) { return b.temperature_c(); }},
    {"sheath_c", [](const Bath& b) { return b.sheath_c(); }},
    {"boiling_c", [](const Bath& b) { return b.boiling_c(); }},
    {"layers_k", [](const Bath& b) { return b.layers_k(); }},
    {"level_l", [](const Bath& b) { return b.level_l(); }},
    {"glycol_now_percent", [](const Bath& b) { return b.glycol_percent(); }},
};

const Truth<Chain> kChainTruth[] = {
    {"cut_out_sensor_c", [](const Chain& c) { return c.cut_out_sensor_c(); }},
    {"cut_out_closed", [](const Chain& c) { return double(c.cut_out_closed()); }},
    {"live", [](const Chain& c) { return double(c.live()); }},
    {"contactor_closed", [](const Chain& c) { return double(c.contactor_closed()); }},
    {"feed_closed", [](const Chain& c) { return double(c.feed_closed()); }},
    {"heater_flows", [](const Chain& c) { return double(c.heater_flows()); }},
};
constexpr char kCutOutReset[] = "chain.cut_out_reset";

const Truth<Station> kStationTruth[] = {
    {"temperature_c", [](const Station& s) { return s.place_c(); }},
    {"element_a", [](const Station& s) { return s.current_a(); }},
    {"element_w", [](const Station& s) { return s.element_w(); }},
};

const Truth<Station> kUnitTruth[] = {
    {"present", [](const Station& s) { return s.present; }},
    {"lift_mm", [](const Station& s) { return s.lift_mm(); }},
    {"wax_c", [](const Station& s) { return s.unit.mean_wax_c(); }},
    {"core_c", [](const Station& s) { return s.unit.core_c(); }},
    {"cup_c", [](const Station& s) { return s.unit.cup_c(); }},
    {"cycle_offset_k", [](const Station& s) { return s.unit.cycle_offset_k(); }},
};

template <class T, int N>
const T* find(const T (&table)[N], const char* name) {
  for (const T& row : table)
    if (strcmp(row.name, name) == 0) return &row;
  return nullptr;
}

template <class T, int N>
const double* parameter(const Key<T> (&table)[N], const T& model, const char* name) {
  const Key<T>* key = find(table, name);
  return key ? &(model.*key->member) : nullptr;
}

template <class T, int N>
bool truth(const Truth<T> (&table)[N], const T& owner, const char* name, double* value) {
  const Truth<T>* row = find(table, name);
  if (row) *value = row->read(owner);
  return row != nullptr;
}

// Skips a leading "word." and returns what follows it, or null.
const char* after(const char* key, const char* word) {
  const size_t n = strlen(word);
  return strncmp(key, word, n) == 0 && key[n] == '.' ? key + n + 1 : nullptr;
}

// Takes the station number off "3.name"; -1 where none of the six stands there.
int station_index(const char** rest) {
  const int index = (*rest)[0] - '1';
  if (index < 0 || index >= kStations || (*rest)[1] != '.') return -1;
  *rest += 2;
  return index;
}

template <class T, int N>
void add_names(std::string& names, const std::string& prefix, const Key<T> (&table)[N]) {
  for (const Key<T>& key : table) names += prefix + key.name + "\n";
}

std::string all_names() {
  std::string names;
  add_names(names, "bath.", kBath);
  add_names(names, "chain.", kChain);
  add_names(names, "bath_probe.", kProbe);
  add_names(names, "guard_probe.", kProbe);
  for (int i = 1; i <= kStations; ++i) {
    const std::string number = std::to_string(i) + ".";
    add_names(names, "station." + number, kStation);
    names += "unit." + number + "present\n";
    add_names(names, "unit." + number, kUnit);
  }
  return names;
}

}  // namespace

// Finds things inside a plant by name.
struct Keys {
  static const double* find(const Plant& p, const char* key) {
    const char* rest;
    if ((rest = after(key, "bath"))) return parameter(kBath, p.bath_.model, rest);
    if ((rest = after(key, "chain"))) return parameter(kChain, p.chain_.model, rest);
    if ((rest = after(key, "bath_probe"))) return parameter(kProbe, p.probe_[0].model, rest);
    if ((rest = after(key, "guard_probe"))) return parameter(kProbe, p.probe_[1].model, rest);
    const bool of_station = (rest = after(key, "station"));
    if (!of_station && !(rest = after(key, "unit"))) return nullptr;
    const int i = station_index(&rest);
    if (i < 0) return nullptr;
    const Station& s = p.station_[i];
    if (of_station) return parameter(kStation, s.model, rest);
    return strcmp(rest, "present") == 0 ? &s.present : parameter(kUnit, s.unit.model, rest);
  }

  static bool true_value(const Plant& p, const char* key, double* value) {
    if (strcmp(key, "time_s") == 0) {
      *value = p.time_s_;
      return true;
    }
    const char* rest;
    if ((rest = after(key, "bath"))) return truth(kBathTruth, p.bath_, rest, value);
    if ((rest = after(key, "chain"))) return truth(kChainTruth, p.chain_, rest, value);
    const bool of_station = (rest = after(key, "station"));
    if (!of_station && !(rest = after(key, "unit"))) return false;
    const int i = station_index(&rest);
    if (i < 0) return false;
    return of_station ? truth(kStationTruth, p.station_[i], rest, value)
                      : truth(kUnitTruth, p.station_[i], rest, value);
  }
};

bool Plant::set(const char* key, double value) {
  if (strcmp(key, kCutOutReset) == 0) {
    if (value > 0.5) chain_.reset_cut_out();
    return true;
  }
  const double* place = Keys::find(*this, key);
  if (!place) return false;
  *const_cast<double*>(place) = value;  // ours, and we are not const here
  changed_ = true;
  if (time_s_ == 0) start(dt_s_);
  return true;
}

bool Plant::get(const char* key, double* value) const {
  const double* place = Keys::find(*this, key);
  if (!place) return Keys::true_value(*this, key, value);
  *value = *place;
  return true;
}

double* unit_parameter(UnitModel& model, const char* name) {
  const Key<UnitModel>* key = find(kUnit, name);
  return key ? &(model.*key->member) : nullptr;
}

const char* parameter_names() {
  static const std::string names = all_names();
  return names.c_str();
}

}  // namespace plant
