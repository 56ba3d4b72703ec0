// The table of fault kinds, and the schedule that switches them.
#include "fault.h"

#include <string.h>

namespace plant {

const FaultKind kFaultKinds[kFaults] = {
    {Fault::HeaterWelded, "heater_welded", false, ""},
    {Fault::HeaterOpen, "heater_open", false, ""},
    {Fault::ContactorWelded, "contactor_welded", false, ""},
    {Fault::ContactorDead, "contactor_dead", false, ""},
    {Fault::MirrorStuckOpen, "mirror_stuck_open", false, ""},
    {Fault::MirrorStuckClosed, "mirror_stuck_closed", false, ""},
    {Fault::MainsLost, "mains_lost", false, ""},
    {Fault::ExtraHeat, "extra_heat", false, "W into the bath that nobody asked for"},
    {Fault::CoolantLost, "coolant_lost", false, "l of coolant lost in each minute"},
    {Fault::LidOff, "lid_off", false, ""},
    {Fault::LevelLow, "level_low", false, ""},
    {Fault::StirrerStopped, "stirrer_stopped", false, ""},
    {Fault::EmergencyStop, "emergency_stop", false, ""},
    {Fault::Stratified, "stratified", false, "K between top and bottom of the stirred bath"},
    {Fault::BathProbeOpen, "bath_probe_open", false, ""},
    {Fault::BathProbeShort, "bath_probe_short", false, ""},
    {Fault::BathProbeStuck, "bath_probe_stuck", false, ""},
    {Fault::BathProbeOffset, "bath_probe_offset", false, "K read too much"},
    {Fault::BathProbeDrift, "bath_probe_drift", false, "K read too much more in each hour"},
    {Fault::GuardProbeOpen, "guard_probe_open", false, ""},
    {Fault::GuardProbeShort, "guard_probe_short", false, ""},
    {Fault::GuardProbeStuck, "guard_probe_stuck", false, ""},
    {Fault::GuardProbeOffset, "guard_probe_offset", false, "K read too much"},
    {Fault::GuardProbeDrift, "guard_probe_drift", false, "K read too much more in each hour"},
    {Fault::ElementFeedStuck, "element_feed_stuck", true, "A flowing whatever is asked"},
    {Fault::ElementOver, "element_over", true, "A above the set-point while one is asked"},
    {Fault::ElementOpen, "element_open", true, ""},
    {Fault::ElementShort, "element_short", true, ""},
    {Fault::SupplyWrong, "supply_wrong", true, "V of the element supply"},
    {Fault::GaugeOpen, "gauge_open", true, ""},
    {Fault::GaugeShort, "gauge_short", true, ""},
    {Fault::GaugeSticking, "gauge_sticking", true, "mm the plunger stays behind"},
    {Fault::OverStroke, "over_stroke", true, "mm beyond the unit's own lift"},
    {Fault::Bubbles, "bubbles", true, "mm of the largest bubble"},
    {Fault::VentPin, "vent_pin", true, "mm the pin rattles"},
    {Fault::AirRoundElement, "air_round_element", true, "times less heat through the film"},
    {Fault::UnitStuck, "unit_stuck", true, "mm held back before it jumps"},
    {Fault::WaxLeak, "wax_leak", true, "mg of wax lost in each hour"},
    {Fault::SpringWeak, "spring_weak", true, "mm of return missing"},
    {Fault::Overheated, "overheated", true, "K the start is shifted"},
    {Fault::GaugeConverterOff, "gauge_converter_off", false, "share read too much"},
    {Fault::CurrentConverterOff, "current_converter_off", false, "share read too much"},
    {Fault::VoltageConverterOff, "voltage_converter_off", false, "share read too much"},
};

bool FaultSchedule::add(const char* kind, int station, double at_s, double until_s, double size) {
  if (count_ == kCapacity) return false;
  for (const FaultKind& k : kFaultKinds) {
    if (strcmp(k.name, kind) != 0) continue;
    const bool fits = k.at_station ? station >= 1 && station <= kStations : station == 0;
    if (!fits) return false;
    entries_[count_++] = Entry{k.fault, station, at_s, until_s, size};
    next_change_s_ = -1e300;
    return true;
  }
  return false;
}

void FaultSchedule::refresh(double now_s) {
  memset(active_, 0, sizeof active_);
  next_change_s_ = 1e300;
  for (int i = 0; i < count_; ++i) {
    const Entry& e = entries_[i];
    const double next_s = now_s < e.at_s ? e.at_s : now_s < e.until_s ? e.until_s : 1e300;
    if (next_s < next_change_s_) next_change_s_ = next_s;
    if (now_s < e.at_s || now_s >= e.until_s) continue;
    active_[int(e.fault)][e.station] = Active{true, e.size};
  }
}

}  // namespace plant
