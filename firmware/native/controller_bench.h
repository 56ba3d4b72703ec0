// The virtual bench: the controller's sources, their board and the plant in lock step.

#pragma once
#include <stdint.h>

#include "../rig_controller/controller.h"
#include "board_native.h"
#include "plant.h"

class ControllerBench {
 public:
  // Boots from power-on with a blank EEPROM that holds a serial number drawn from the seed.
  explicit ControllerBench(uint64_t seed);

  // The controller restarts; EEPROM, clock and plant go on.
  void boot(wire::BootCause cause);

  // One tick of 100 ms: the host's bytes arrive at its start.
  void advance(const char* in, size_t count);

  // Plant parameter, true value, or "output.<name>" as the controller drives it.
  bool get(const char* key, double* value) const;

  const Controller& controller() const { return controller_; }

  plant::Plant plant;
  NativeBoard board;

 private:
  Controller controller_;
  uint32_t now_ms_ = 0;
};
