// The table of fault kinds, and the schedule that switches them.
#include "fault.h"

#include <string.h>

namespace plant {
namespace {
// What a converter makes of a broken lead its maker does not promise: the size says it.
constexpr char kWithoutCurrent[] = "share of full scale that is read without a current";
constexpr char kLooseInput[] = "share of full scale that a loose input reads";
}  // namespace

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
    {Fault::LevelStuck, "level_stuck", false, ""},
    {Fault::StirrerStopped, "stirrer_stopped", false, ""},
    {Fault::StirrerTurningStuck, "stirrer_turning_stuck", false, ""},
    {Fault::EmergencyStop, "emergency_stop", false, ""},
    {Fault::EstopSpike, "estop_spike", false, "ms the line reads open, once"},
    {Fault::CutOutDead, "cut_out_dead", false, ""},
    {Fault::LevelRelayStuck, "level_relay_stuck", false, ""},
    {Fault::FeedContactorWelded, "feed_contactor_welded", false, ""},
    {Fault::Stratified, "stratified", false, "K between top and bottom of the stirred bath"},
    {Fault::BathProbeOpen, "bath_probe_open", false, ""},
    {Fault::BathProbeShort, "bath_probe_short", false, ""},
    {Fault::BathProbeStuck, "bath_probe_stuck", false, ""},
    {Fault::BathProbeOffset, "bath_probe_offset", false, "K read too much"},
    {Fault::BathProbeDrift, "bath_probe_drift", false, "K read too much more in each hour"},
    {Fault::BathProbeForcePlusOpen, "bath_probe_force_plus_open", false, kWithoutCurrent},
    {Fault::BathProbeForceMinusOpen, "bath_probe_force_minus_open", false, kWithoutCurrent},
    {Fault::BathProbeRtdinPlusOpen, "bath_probe_rtdin_plus_open", false, kLooseInput},
    {Fault::BathProbeRtdinMinusOpen, "bath_probe_rtdin_minus_open", false, kLooseInput},
    {Fault::GuardProbeOpen, "guard_probe_open", false, ""},
    {Fault::GuardProbeShort, "guard_probe_short", false, ""},
    {Fault::GuardProbeStuck, "guard_probe_stuck", false, ""},
    {Fault::GuardProbeOffset, "guard_probe_offset", false, "K read too much"},
    {Fault::GuardProbeDrift, "guard_probe_drift", false, "K read too much more in each hour"},
    {Fault::GuardProbeForcePlusOpen, "guard_probe_force_plus_open", false, kWithoutCurrent},
    {Fault::GuardProbeForceMinusOpen, "guard_probe_force_minus_open", false, kWithoutCurrent},
    {Fault::GuardProbeRtdinPlusOpen, "guard_probe_rtdin_plus_open", false, kLooseInput},
    {Fault::GuardProbeRtdinMinusOpen, "guard_probe_rtdin_minus_open", false, kLooseInput},
    {Fault::ElementFeedStuck, "element_feed_stuck", true, "A flowing while the feed is closed"},
    {Fault::BypassClosed, "bypass_closed", true, "A through the shunt, past feed and element"},
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
    {Fault::Waxless, "waxless", true, "times less heat from the core to the cup"},
    {Fault::UnitStuck, "unit_stuck", true, "mm held back before it jumps"},
    {Fault::WaxLeak, "wax_leak", true, "mg of wax lost in each hour"},
    {Fault::SpringWeak, "spring_weak", true, "mm of return missing"},
    {Fault::Overheated, "overheated", true, "K the start is shifted"},
    {Fault::GaugeConverterOff, "gauge_converter_off", false, "share read too much"},
    {Fault::CurrentConverterOff, "current_converter_off", false, "share read too much"},
    {Fault::VoltageConverterOff, "voltage_converter_off", false, "share read too much"},
    {Fault::SelectALow, "select_a_low", false, ""},
    {Fault::SelectAHigh, "select_a_high", false, ""},
    {Fault::SelectBLow, "select_b_low", false, ""},
    {Fault::SelectBHigh, "select_b_high", false, ""},
    {Fault::SelectCLow, "select_c_low", false, ""},
    {Fault::SelectCHigh, "select_c_high", false, ""},
    {Fault::MisoLow, "miso_low", false, ""},
    {Fault::MisoHigh, "miso_high", false, ""},
    {Fault::SpiClockDead, "spi_clock_dead", false, ""},
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
