// The sketch: the controller's one state, started and run for ever.

#include "board.h"
#include "controller.h"
#include "self_test.h"

static Controller controller;

void setup() {
  board::start();
  const Cause tested = boot_test();
  board::begin();
  controller_boot(controller, board::boot_cause(), tested, board::now_ms());
}

void loop() {
  controller_pass(controller, board::now_ms());
  board::idle();
}
