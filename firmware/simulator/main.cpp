// Command line of the simulator.

#include <getopt.h>
#include <signal.h>
#include <stdlib.h>

#include <exception>
#include <iostream>
#include <stdexcept>

#include "simulation.h"

namespace {

constexpr char usage[] =
    R"(usage: proofbath_simulator [options] FIRMWARE.elf

Runs the rig controller's firmware on a simulated ATmega2560 or ATmega328P against the plant of the
virtual bench. Prints where to reach it: `terminal` (a pseudo-terminal) and `serial` (TCP) are its
serial port at 115200 baud, `control` takes the commands below.

  --seed N           of the plant and the controller's serial number (1)
  --set FILE         plant parameters, a "key value" a line
  --eeprom FILE      loaded if it exists, saved at the end
  --serial-port N    TCP port (0: a free one)
  --control-port N   TCP port (0: a free one)
  --speed X          time passes by itself at X times life, 0 = at full speed;
                     without it, by the command `advance` only
  --ignore-xoff      bytes come although the receiver is full, and are lost
  --reset-on-open    opening the serial port resets the controller, as many boards do
  --owned            end when the control client hangs up
  --help

commands:
)";

volatile sig_atomic_t interrupted = false;

uint64_t number(const char* text, uint64_t most) {
  char* end;
  const unsigned long long value = strtoull(text, &end, 10);
  if (*text < '0' || *text > '9' || *end || value > most)
    throw std::runtime_error(std::string(text) + " is no whole number up to " +
                             std::to_string(most));
  return value;
}

double speed(const char* text) {
  char* end;
  const double value = strtod(text, &end);
  if (end == text || *end || !(value >= 0)) throw std::runtime_error("--speed needs 0 or more");
  return value;
}

[[noreturn]] void help(int status) {
  (status ? std::cerr : std::cout) << usage << simulator::command_help();
  exit(status);
}

simulator::Options parse(int argc, char** argv) {
  const option known[] = {{"seed", required_argument, nullptr, 's'},
                          {"set", required_argument, nullptr, 'p'},
                          {"eeprom", required_argument, nullptr, 'e'},
                          {"serial-port", required_argument, nullptr, 't'},
                          {"control-port", required_argument, nullptr, 'c'},
                          {"speed", required_argument, nullptr, 'v'},
                          {"ignore-xoff", no_argument, nullptr, 'x'},
                          {"reset-on-open", no_argument, nullptr, 'r'},
                          {"owned", no_argument, nullptr, 'o'},
                          {"help", no_argument, nullptr, 'h'},
                          {}};
  simulator::Options options;
  int found;
  while ((found = getopt_long(argc, argv, "h", known, nullptr)) != -1) switch (found) {
      case 's': options.seed = number(optarg, UINT64_MAX); break;
      case 'p': options.parameters_path = optarg; break;
      case 'e': options.eeprom_path = optarg; break;
      case 't': options.serial_port = uint16_t(number(optarg, UINT16_MAX)); break;
      case 'c': options.control_port = uint16_t(number(optarg, UINT16_MAX)); break;
      case 'v': options.speed = speed(optarg); break;
      case 'x': options.ignore_xoff = true; break;
      case 'r': options.reset_on_open = true; break;
      case 'o': options.owned = true; break;
      case 'h': help(0);
      default: help(2);
    }
  if (optind + 1 != argc) help(2);
  options.elf_path = argv[optind];
  return options;
}

}  // namespace

int main(int argc, char** argv) {
  signal(SIGPIPE, SIG_IGN);
  for (int end : {SIGINT, SIGTERM}) signal(end, [](int) { interrupted = 1; });
  try {
    simulator::Simulation simulation(parse(argc, argv));
    simulation.run(interrupted);
    simulation.save_eeprom();
    return 0;
  } catch (const std::exception& error) {
    std::cerr << "proofbath_simulator: " << error.what() << "\n";
    return 1;
  }
}
