// A board made of memory: the controller's hardware in a process of a PC.
// board.h's free functions act on the board that was made current.

#pragma once
#include <stdint.h>

#include <string>

#include "devices.h"

struct NativeBoard {
  plant::Signals signals = {};
  plant::Drive drive = {};
  devices::Bus bus;
  uint8_t eeprom[1024];
  uint8_t program[256];  // stands for the program memory, which a test may change
  board::Program built = {};
  uint8_t stack_guard[board::stack_guard_bytes] = {};
  uint16_t watchdog_us = board::watchdog_nominal_us;
  std::string received;  // from the host, from received_at on not yet read
  size_t received_at = 0;
  std::string sent;  // to the host
  int eeprom_budget = 0;
  uint32_t watchdog_fed = 0;  // times

  NativeBoard();

  // Makes this the board that board.h's functions act on, in this thread.
  void make_current();

  // Burns a serial number, as a workshop does once with a programmer; the board must be current.
  void provision(uint32_t number);

  // Time of one loop pass goes by: so many bytes of EEPROM can be burnt.
  void pass_time();

  // Puts host bytes where the controller reads them.
  void receive(const char* bytes, size_t count);
};
