// One step of everything, in the order chain, bath, probes, stations.
#include "plant.h"

#include <math.h>

namespace plant {
namespace {
constexpr double kMixingS = 5.0;           // how long a fluctuation lasts at one place
constexpr double kStillFluctuation = 4.0;  // times larger without stirring
constexpr double kStillFilm = 0.25;        // share of a unit's film left without stirring
constexpr double kSpinUpS = 1.0, kSpinDownS = 0.5, kTurningSpeed = 0.95;
constexpr double kProbeDepth[2] = {0.2, -0.2};  // in the layers, -0.5 bottom .. 0.5 top
constexpr double kCutOutDepth = -0.4;  // its sensor sits low, near the heater
constexpr double kOpenOhm = 1e9;
// Of full scale, on the last channel of each converter.
constexpr double kReference[3] = {1.0 / 2.0, 1.0 / 3.0, 2.0 / 3.0};

// The guard probe's fault of a kind, named for the bath probe.
Fault of_probe(Fault of_bath, int probe) {
  constexpr int kOfGuard = int(Fault::GuardProbeOpen) - int(Fault::BathProbeOpen);
  return Fault(int(of_bath) + probe * kOfGuard);
}
}  // namespace

Plant::Plant(uint64_t seed)
    : station_{{seed, 1}, {seed, 2}, {seed, 3}, {seed, 4}, {seed, 5}, {seed, 6}},
      noise_(seed, 1) {
  start(dt_s_);
  signals_.probe_ohm[0] = signals_.probe_ohm[1] = platinum_ohm(bath_.model.start_c);
  for (int i = 0; i < kStations; ++i) signals_.gauge_ratio[i] = station_[i].gauge_ratio();
  for (int i = 0; i < 3; ++i) signals_.reference_ratio[i] = kReference[i];
  signals_.level_ok = signals_.emergency_stop_closed = signals_.contactor_open = true;
}

bool Plant::fault(const char* kind, int station, double at_s, double until_s, double size) {
  return faults_.add(kind, station, at_s, until_s, size);
}

void Plant::start(double dt_s) {
  bath_.start(dt_s);
  chain_.start(bath_.model.start_c);
  for (Probe& p : probe_) p.start(bath_.model.start_c);
  for (Station& s : station_) s.start(bath_.model.start_c, dt_s);
  prepare(dt_s);
}

void Plant::prepare(double dt_s) {
  dt_s_ = dt_s;
  changed_ = false;
  take_faults();
  bath_.prepare(dt_s);
  chain_.prepare(dt_s);
  for (Probe& p : probe_) p.prepare(dt_s);
  for (Station& s : station_) s.prepare(dt_s);
  const double keep = exp(-dt_s / kMixingS);
  for (Drifting& d : mixing_) d.prepare(keep, bath_.model.mixing_k * sqrt(1.0 - keep * keep));
}

void Plant::advance(double dt_s, const Drive& drive) {
  if (changed_ || dt_s != dt_s_) prepare(dt_s);
  if (faults_.advance(time_s_)) take_faults();
  switch_chain(drive);
  read_stop_line();
  turn_stirrer(drive.stirrer);
  advance_bath(drive);
  advance_probes();
  advance_stations(drive);
  stray_converters();
  time_s_ += dt_s;
}

// What lasts as long as the faults that are present.
void Plant::take_faults() {
  BusFaults& bus = signals_.bus;
  bus = {};
  for (int line = 0; line < 3; ++line) {
    bus.select_low |= uint8_t(faults_.on(Fault(int(Fault::SelectALow) + 2 * line)) << line);
    bus.select_high |= uint8_t(faults_.on(Fault(int(Fault::SelectAHigh) + 2 * line)) << line);
  }
  bus.miso_low = faults_.on(Fault::MisoLow);
  bus.miso_high = faults_.on(Fault::MisoHigh);
  bus.clock_dead = faults_.on(Fault::SpiClockDead);
  bus.any = bus.select_low || bus.select_high || bus.miso_low || bus.miso_high || bus.clock_dead;
  for (int i = 0; i < kProbes; ++i) signals_.leads[i] = leads_of(i);
}

Leads Plant::leads_of(int probe) const {
  const auto broken = [this, probe](Fault of_bath) { return faults_.on(of_probe(of_bath, probe)); };
  const bool plus = broken(Fault::BathProbeRtdinPlusOpen);
  const bool pulled_up = probe_[probe].model.bias_resistor > 0.5;
  Leads leads = {};
  leads.force_open =
      broken(Fault::BathProbeForcePlusOpen) || broken(Fault::BathProbeForceMinusOpen);
  leads.input_at_bias = plus && pulled_up;
  leads.input_loose = broken(Fault::BathProbeRtdinMinusOpen) || (plus && !pulled_up);
  for (int f = int(Fault::BathProbeForcePlusOpen); f <= int(Fault::BathProbeRtdinMinusOpen); ++f)
    if (broken(Fault(f)) && leads.loose_share == 0)
      leads.loose_share = faults_.size(of_probe(Fault(f), probe));
  return leads;
}

// The controller sees the float by the relay's contact without delay.
void Plant::switch_chain(const Drive& drive) {
  const bool covered = bath_.level_ok() && !faults_.on(Fault::LevelLow);
  const bool floats = covered || faults_.on(Fault::LevelStuck);
  const double low_c = bath_.temperature_c() + kCutOutDepth * bath_.layers_k();
  chain_.advance(drive, floats, low_c, faults_);
  signals_.level_ok = chain_.level_seen();
  signals_.heater_live = chain_.heater_sensed();
  signals_.contactor_open = !chain_.contactor_closed();
  if (faults_.on(Fault::MirrorStuckOpen)) signals_.contactor_open = true;
  if (faults_.on(Fault::MirrorStuckClosed)) signals_.contactor_open = false;
}

// A spike comes once, with the beginning of its fault, and lasts its own time.
void Plant::read_stop_line() {
  const bool spike = faults_.on(Fault::EstopSpike);
  if (spike && !spiked_) spike_left_s_ = faults_.size(Fault::EstopSpike) / 1000.0;
  spiked_ = spike;
  const bool reads_open = spike_left_s_ > 0;
  signals_.emergency_stop_closed = !faults_.on(Fault::EmergencyStop) && !reads_open;
  signals_.stop_spike_s = faults_.on(Fault::EmergencyStop) ? 0 : spike_left_s_;
  spike_left_s_ = spike_left_s_ > dt_s_ ? spike_left_s_ - dt_s_ : 0;
}

void Plant::turn_stirrer(bool asked) {
  const bool powered = !faults_.on(Fault::StirrerStopped) && !faults_.on(Fault::MainsLost) &&
                       !faults_.on(Fault::EmergencyStop);
  stirrer_speed_ += asked && powered ? dt_s_ / kSpinUpS : -dt_s_ / kSpinDownS;
  stirrer_speed_ = stirrer_speed_ < 0 ? 0 : stirrer_speed_ > 1 ? 1 : stirrer_speed_;
  stirring_ = kStillFilm + (1.0 - kStillFilm) * stirrer_speed_;
  signals_.stirrer_turning =
      stirrer_speed_ >= kTurningSpeed || faults_.on(Fault::StirrerTurningStuck);
}

void Plant::advance_bath(const Drive& drive) {
  BathInput in;
  in.heater_w = chain_.heater_flows() ? bath_.model.heater_w : 0.0;
  for (const Station& s : station_) in.units_w += s.heat_from_bath_w();
  in.extra_w = faults_.size(Fault::ExtraHeat);
  in.stirring = stirrer_speed_;
  in.stratified_k = faults_.size(Fault::Stratified);
  in.lost_l_per_min = faults_.size(Fault::CoolantLost);
  in.cooling = drive.cooling && !faults_.on(Fault::MainsLost);
  in.lid_off = faults_.on(Fault::LidOff);
  bath_.advance(in);
}

// Temperature of the coolant at a sensor: mean, its lasting gradient, layers, fluctuation.
double Plant::place_c(int sensor, double gradient_k, double depth) {
  const double fluctuation_k = mixing_[sensor].next(noise_);
  const double still = 1.0 - stirrer_speed_;
  return bath_.temperature_c() + gradient_k + depth * bath_.layers_k() +
         fluctuation_k * (1.0 + (kStillFluctuation - 1.0) * still);
}

void Plant::advance_probes() {
  for (int i = 0; i < kProbes; ++i) {
    const auto of = [i](Fault f) { return of_probe(f, i); };
    const double error_k = faults_.size(of(Fault::BathProbeOffset));
    const double drift_k_per_h = faults_.size(of(Fault::BathProbeDrift));
    const double c = place_c(i, probe_[i].model.gradient_k, kProbeDepth[i]);
    const double ohm = probe_[i].advance(c, error_k, drift_k_per_h, noise_);
    if (!faults_.on(of(Fault::BathProbeStuck))) signals_.probe_ohm[i] = ohm;
    if (faults_.on(of(Fault::BathProbeOpen))) signals_.probe_ohm[i] = kOpenOhm;
    if (faults_.on(of(Fault::BathProbeShort))) signals_.probe_ohm[i] = 0.0;
  }
}

void Plant::advance_stations(const Drive& drive) {
  for (int i = 0; i < kStations; ++i) {
    Station& s = station_[i];
    StationInput in;
    in.now_s = time_s_;
    in.place_c = place_c(kProbes + i, s.model.gradient_k, double(i) / (kStations - 1) - 0.5);
    in.stirring = stirring_;
    in.boiling_c = bath_.boiling_c();
    in.powered = chain_.powered();
    in.supplied = in.powered && chain_.feed_closed();
    in.switched = drive.station_switch[i];
    in.code = drive.element_code[i];
    s.advance(in, faults_);
    signals_.gauge_ratio[i] = s.gauge_ratio();
    signals_.current_ratio[i] = s.current_ratio();
    signals_.voltage_ratio[i] = s.voltage_ratio();
  }
}

// A converter whose reference has drifted reads all its channels wrong alike.
void Plant::stray_converters() {
  double* const ratios[] = {signals_.gauge_ratio, signals_.current_ratio, signals_.voltage_ratio};
  for (int i = 0; i < 3; ++i) {
    const double gain = 1.0 + faults_.size(Fault(int(Fault::GaugeConverterOff) + i));
    signals_.reference_ratio[i] = kReference[i] * gain;
    for (int s = 0; s < kStations; ++s) ratios[i][s] *= gain;
  }
}

}  // namespace plant
