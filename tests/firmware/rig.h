// A controller on a native board whose wires a test sets by hand; no plant.
// Left alone, the wires follow the outputs as those of a healthy bench do.

#pragma once
#include <functional>
#include <string>
#include <vector>

#include "../../firmware/native/board_native.h"
#include "../../firmware/rig_controller/controller.h"

constexpr uint16_t warm_code = 10000;  // sum 40000, near 57 degC

// Limits of the tests: a bath limit of sum 45000 and otherwise those of a usual night.
wire::Limits usual_limits();

struct Rig {
  // READY after an external reset, with the usual limits stored; `start_ms` is its clock.
  explicit Rig(uint32_t start_ms = 0);

  void boot(wire::BootCause cause);

  // 25 ms: wires follow the outputs, `disturb` changes them, one loop pass.
  void pass();

  // 100 ms; with `hold` on, `want` is sent as the answer to the last sample.
  void tick();
  void ticks(int count);

  // Enters LIVE with a turning stirrer and runs until heat is allowed.
  void go_live(uint16_t duty = 0);

  // Gives a host's line to the controller.
  template <class Message> void say(const Message& message) {
    LineWriter line;
    write(line, message);
    line.finish();
    say_raw(std::string(line.text(), line.length()));
  }
  void say_raw(const std::string& bytes);

  // Lines the controller sent since the last call.
  std::vector<std::string> heard();

  // Milliseconds of passes until the controller trips, or -1 when it does not within `most_ms`.
  int ms_to_trip(int most_ms);
  // Ticks until it trips, or -1.
  int ticks_to_trip(int most);

  bool tripped_by(wire::TripReason reason) const;
  // Contactor, heater, feed and all station switches open, set-points zero.
  bool outputs_off() const;
  bool live() const { return c.status.live(); }
  wire::Demand answer(uint16_t lease_ms = 2000) const;

  NativeBoard board;
  Controller c;
  uint32_t now_ms;

  bool hold = false;
  wire::Demand want = {};
  double bath_code = warm_code, guard_code = warm_code;
  uint16_t lift_code[6] = {500, 500, 500, 500, 500, 500};
  std::function<void(plant::Signals&)> disturb;
};
