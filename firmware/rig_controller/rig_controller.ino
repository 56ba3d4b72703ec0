// The sketch: the controller's one state, started and run for ever.

#include "board.h"
#include "controller.h"

static Controller controller;

void setup() {
  board::start();
  controller_boot(controller, board::boot_cause(), board::now_ms());
}

void loop() {
  controller_pass(controller, board::now_ms());
  board::idle();
}
