#include "simulation.h"

#include <poll.h>
#include <time.h>

#include <algorithm>
#include <fstream>
#include <iostream>
#include <iterator>
#include <sstream>
#include <stdexcept>

namespace simulator {
namespace {

constexpr uint8_t external = 2;
constexpr uint64_t slice_us = 10000;
constexpr int idle_ms = 20;  // how soon an opened terminal is noticed

double wall_s() {
  timespec now;
  ::clock_gettime(CLOCK_MONOTONIC, &now);
  return double(now.tv_sec) + 1e-9 * double(now.tv_nsec);
}

std::string advanced(const Simulation& simulation, uint64_t now_us) {
  return "ok " + std::to_string(now_us) + " " + std::to_string(simulation.controller_bytes());
}

}  // namespace

Simulation::Simulation(const Options& options)
    : options_(options),
      machine_(options.elf_path, options.seed),
      cable_(options.serial_port),
      control_(options.control_port) {
  machine_.ignore_xoff(options.ignore_xoff);
  if (!options.parameters_path.empty()) set_parameters(options.parameters_path);
  std::ifstream eeprom(options.eeprom_path, std::ios::binary);
  if (!options.eeprom_path.empty() && eeprom) {
    machine_.cpu().write_eeprom({std::istreambuf_iterator<char>(eeprom), {}});
  }
  run_free(options.speed);
}

void Simulation::set_parameters(const std::string& path) {
  std::ifstream file(path);
  if (!file) throw std::runtime_error(path + ": cannot be read");
  std::string line;
  for (int number = 1; std::getline(file, line); ++number) {
    std::istringstream words(line);
    std::string key;
    double value;
    if (!(words >> key) || key[0] == '#') continue;
    if (!(words >> value) || !machine_.plant().set(key.c_str(), value))
      throw std::runtime_error(path + ":" + std::to_string(number) +
                               ": needs the name of a plant parameter and its value");
  }
}

void Simulation::save_eeprom() const {
  if (options_.eeprom_path.empty()) return;
  const std::vector<uint8_t> bytes = machine_.cpu().read_eeprom();
  std::ofstream file(options_.eeprom_path, std::ios::binary | std::ios::trunc);
  file.write(reinterpret_cast<const char*>(bytes.data()), std::streamsize(bytes.size()));
  if (!file.flush()) throw std::runtime_error(options_.eeprom_path + ": cannot be written");
}

void Simulation::announce() const {
  std::cout << "terminal " << cable_.terminal() << "\nserial 127.0.0.1:" << cable_.tcp_port()
            << "\ncontrol 127.0.0.1:" << control_.port() << std::endl;
}

void Simulation::run(const volatile sig_atomic_t& interrupted) {
  announce();
  while (!quit_ && !interrupted) {
    wait();
    exchange();
    obey();
    pass_time();
  }
  exchange();
}

void Simulation::wait() const {
  std::vector<pollfd> events;
  cable_.wait_for(events);
  events.push_back({control_.connected() ? control_.client_fd() : control_.listening_fd(),
                    short(replies_.empty() ? POLLIN : POLLIN | POLLOUT), 0});
  int timeout_ms = idle_ms;
  if (speed_ && *speed_ == 0) timeout_ms = 0;
  else if (speed_) timeout_ms = std::clamp(int(1.0 / *speed_), 0, idle_ms);
  ::poll(events.data(), events.size(), timeout_ms);
}

void Simulation::exchange() {
  std::string from_host;
  if (cable_.exchange(from_host) && options_.reset_on_open) machine_.boot(external);
  machine_.receive(from_host.data(), from_host.size());
  host_bytes_ += from_host.size();
  control_.accept_waiting();
  if (control_.exchange(commands_, replies_)) return;
  commands_.clear();
  replies_.clear();
  asked_.reset();
  quit_ |= options_.owned;
}

// One line after the other; an advance that has begun is finished first.
void Simulation::obey() {
  size_t end;
  while (!asked_ && !quit_ && (end = commands_.find('\n')) != std::string::npos) {
    const std::string answer = serve(*this, commands_.substr(0, end));
    commands_.erase(0, end + 1);
    if (!answer.empty()) replies_ += answer + "\n";
  }
}

void Simulation::pass_time() {
  if (asked_ && host_bytes_ >= asked_->host_bytes) {
    advance_us(asked_->us);
    asked_.reset();
    replies_ += advanced(*this, machine_.now_us()) + "\n";
    exchange();
  } else if (speed_) {
    uint64_t us = slice_us;
    if (*speed_ > 0) {
      const double due_us = (wall_s() - free_since_wall_s_) * 1e6 * *speed_;
      const double behind_us = double(free_since_us_) + due_us - double(machine_.now_us());
      us = uint64_t(std::clamp(behind_us, 0.0, double(slice_us)));
      if (behind_us > 1e6 * *speed_) run_free(speed_);  // lost time is not made up for
    }
    advance_us(us);
  }
}

void Simulation::advance_us(uint64_t us) {
  machine_.advance_us(us);
  const std::string sent = machine_.take_sent();
  controller_bytes_ += sent.size();
  cable_.send(sent);
}

void Simulation::run_free(std::optional<double> speed) {
  speed_ = speed;
  free_since_us_ = machine_.now_us();
  free_since_wall_s_ = wall_s();
}

}  // namespace simulator
