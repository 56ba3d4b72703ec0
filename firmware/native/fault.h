// Faults of bench and units: which kinds exist, and which are present at a time.
#pragma once

#include <stdint.h>

namespace plant {

constexpr int kStations = 6;

// Order is that of the table in fault.cpp, which names each kind and says what its size means.
enum class Fault : uint8_t {
  HeaterWelded,
  HeaterOpen,
  ContactorWelded,
  ContactorDead,
  MirrorStuckOpen,
  MirrorStuckClosed,
  MainsLost,
  ExtraHeat,
  CoolantLost,
  LidOff,
  LevelLow,
  LevelStuck,
  StirrerStopped,
  StirrerTurningStuck,
  EmergencyStop,
  EstopSpike,
  CutOutDead,
  LevelRelayStuck,
  FeedContactorWelded,
  Stratified,
  BathProbeOpen,
  BathProbeShort,
  BathProbeStuck,
  BathProbeOffset,
  BathProbeDrift,
  BathProbeForcePlusOpen,
  BathProbeForceMinusOpen,
  BathProbeRtdinPlusOpen,
  BathProbeRtdinMinusOpen,
  GuardProbeOpen,
  GuardProbeShort,
  GuardProbeStuck,
  GuardProbeOffset,
  GuardProbeDrift,
  GuardProbeForcePlusOpen,
  GuardProbeForceMinusOpen,
  GuardProbeRtdinPlusOpen,
  GuardProbeRtdinMinusOpen,
  ElementFeedStuck,
  BypassClosed,
  ElementOver,
  ElementOpen,
  ElementShort,
  SupplyWrong,
  GaugeOpen,
  GaugeShort,
  GaugeSticking,
  OverStroke,
  Bubbles,
  VentPin,
  AirRoundElement,
  Waxless,
  UnitStuck,
  WaxLeak,
  SpringWeak,
  Overheated,
  GaugeConverterOff,
  CurrentConverterOff,
  VoltageConverterOff,
  SelectALow,
  SelectAHigh,
  SelectBLow,
  SelectBHigh,
  SelectCLow,
  SelectCHigh,
  MisoLow,
  MisoHigh,
  SpiClockDead,
  Count
};
constexpr int kFaults = int(Fault::Count);

struct FaultKind {
  Fault fault;
  const char* name;
  bool at_station;   // false: of the whole bench, station 0
  const char* size;  // unit and meaning of the size; "" where a size says nothing
};
extern const FaultKind kFaultKinds[kFaults];

class FaultSchedule {
 public:
  // Returns false for an unknown kind, a wrong station or a full schedule.
  bool add(const char* kind, int station, double at_s, double until_s, double size);
  // Returns whether what is present may have changed.
  bool advance(double now_s) {
    if (now_s < next_change_s_) return false;
    refresh(now_s);
    return true;
  }
  bool on(Fault fault, int station = 0) const { return active_[int(fault)][station].on; }
  // Size of a present fault, 0 of an absent one.
  double size(Fault fault, int station = 0) const { return active_[int(fault)][station].size; }

 private:
  struct Entry {
    Fault fault;
    int station;
    double at_s, until_s, size;
  };
  struct Active {
    bool on;
    double size;
  };
  void refresh(double now_s);

  static constexpr int kCapacity = 64;
  Entry entries_[kCapacity];
  int count_ = 0;
  double next_change_s_ = 1e300;
  Active active_[kFaults][kStations + 1] = {};
};

}  // namespace plant
