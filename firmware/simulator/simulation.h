// The simulation as a running program: machine, cable and control socket, and who makes time pass.
//
// In lock step time passes only by `advance`, and each starts when as many host bytes in all as it
// names have arrived: runs repeat exactly. Running free, time passes by itself.

#pragma once
#include <signal.h>
#include <stdint.h>

#include <optional>
#include <string>

#include "cable.h"
#include "machine.h"
#include "sockets.h"

namespace simulator {

struct Options {
  std::string elf_path, parameters_path, eeprom_path;
  uint64_t seed = 1;
  uint16_t serial_port = 0, control_port = 0;
  std::optional<double> speed;  // running free, in multiples of life; 0 as fast as possible
  bool ignore_xoff = false, reset_on_open = false, owned = false;
};

struct Advance {
  uint64_t us, host_bytes;
};

class Simulation {
 public:
  // Raises std::runtime_error.
  explicit Simulation(const Options& options);

  // Runs until asked to quit; raises std::runtime_error when the processor is lost.
  void run(const volatile sig_atomic_t& interrupted);

  // Keeps the EEPROM where the options said so.
  void save_eeprom() const;

  void run_free(std::optional<double> speed);
  void advance(const Advance& asked) { asked_ = asked; }
  void quit() { quit_ = true; }

  Machine& machine() { return machine_; }
  uint64_t host_bytes() const { return host_bytes_; }
  uint64_t controller_bytes() const { return controller_bytes_; }

 private:
  void announce() const;
  void set_parameters(const std::string& path);
  void wait() const;
  void exchange();
  void obey();
  void pass_time();
  void advance_us(uint64_t us);

  Options options_;
  Machine machine_;
  Cable cable_;
  Server control_;
  std::string commands_, replies_;
  std::optional<Advance> asked_;
  std::optional<double> speed_;
  uint64_t free_since_us_ = 0;
  double free_since_wall_s_ = 0;
  uint64_t host_bytes_ = 0, controller_bytes_ = 0;
  bool quit_ = false;
};

// Serves one line of the control socket and returns its answer, empty where that comes later.
std::string serve(Simulation& simulation, const std::string& line);

// The commands, one a line.
std::string command_help();

}  // namespace simulator
