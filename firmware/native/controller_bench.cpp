// A tick of the bench: four steps of the plant, each followed by a loop pass.

#include "controller_bench.h"

#include <stdlib.h>
#include <string.h>

#include "../rig_controller/self_test.h"

namespace {

struct Named {
  const char* name;
  bool plant::Drive::*output;
};

constexpr Named outputs[] = {{"output.contactor", &plant::Drive::contactor},
                             {"output.heater", &plant::Drive::heater},
                             {"output.element_feed", &plant::Drive::element_feed},
                             {"output.stirrer", &plant::Drive::stirrer},
                             {"output.cooling", &plant::Drive::cooling},
                             {"output.horn", &plant::Drive::horn}};

// Station index of "<prefix><1..6>", or -1.
int station_of(const char* key, const char* prefix) {
  const size_t length = strlen(prefix);
  if (strncmp(key, prefix, length) != 0 || key[length] == 0 || key[length + 1] != 0) return -1;
  const int station = key[length] - '1';
  return station >= 0 && station < plant::kStations ? station : -1;
}

}  // namespace

ControllerBench::ControllerBench(uint64_t seed) : plant(seed) {
  board.make_current();
  board.provision(uint32_t(seed));
  boot(wire::BootCause::power_on);
}

void ControllerBench::boot(wire::BootCause cause) {
  board.make_current();
  controller_ = Controller();
  board.received.clear();
  board.received_at = 0;
  controller_boot(controller_, cause, boot_test(), now_ms_);
}

void ControllerBench::advance(const char* in, size_t count) {
  board.make_current();
  if (count) board.receive(in, count);
  for (int i = 0; i < wire::scans_per_tick; ++i) {
    plant.advance(scan_ms / 1000.0, board.drive);
    board.signals = plant.signals();
    board.pass_time();
    now_ms_ += scan_ms;
    controller_pass(controller_, now_ms_);
  }
}

bool ControllerBench::get(const char* key, double* value) const {
  for (const Named& named : outputs)
    if (strcmp(key, named.name) == 0) {
      *value = board.drive.*named.output;
      return true;
    }
  int station = station_of(key, "output.station_switch.");
  if (station >= 0) {
    *value = board.drive.station_switch[station];
    return true;
  }
  station = station_of(key, "output.element_code.");
  if (station >= 0) {
    *value = board.drive.element_code[station];
    return true;
  }
  return plant.get(key, value);
}

