// The commands of the control socket: a line in, a line out that begins with "ok" or "error".

#include <iomanip>
#include <sstream>

#include "simulation.h"

namespace simulator {
namespace {

using Words = std::istringstream;

std::string error(const std::string& text) { return "error " + text; }

std::string advance(Simulation& s, Words& words) {
  Advance asked;
  if (!(words >> asked.us >> asked.host_bytes)) return error("needs US and HOST_BYTES");
  s.advance(asked);
  return "";
}

std::string boot(Simulation& s, Words& words) {
  std::string cause;
  words >> cause;
  const std::pair<const char*, uint8_t> flags[] = {
      {"unknown", 0}, {"power_on", 1}, {"external", 2}, {"brown_out", 4}};
  for (const auto& [name, flag] : flags) {
    if (cause != name) continue;
    s.machine().boot(flag);
    return "ok";
  }
  return error("no cause " + cause);
}

std::string fault(Simulation& s, Words& words) {
  std::string kind;
  int station;
  double at_s, until_s, size;
  if (!(words >> kind >> station >> at_s >> until_s >> size))
    return error("needs KIND STATION AT_S UNTIL_S SIZE");
  const bool known = s.machine().plant().fault(kind.c_str(), station, at_s, until_s, size);
  return known ? "ok" : error("no fault " + kind + " at station " + std::to_string(station));
}

std::string set(Simulation& s, Words& words) {
  std::string key;
  double value;
  if (!(words >> key >> value)) return error("needs KEY VALUE");
  return s.machine().plant().set(key.c_str(), value) ? "ok" : error("no parameter " + key);
}

std::string get(Simulation& s, Words& words) {
  std::string key;
  double value;
  words >> key;
  if (!s.machine().get(key, &value)) return error("no value " + key);
  std::ostringstream answer;
  answer << "ok " << std::setprecision(17) << value;
  return answer.str();
}

std::string changes(Simulation& s, Words&) {
  std::string answer = "ok";
  for (const Change& change : s.machine().take_changes())
    answer +=
        " " + std::to_string(change.at_us) + ":" + change.name + (change.on ? "=1" : "=0");
  return answer;
}

std::string pass_times(Simulation& s, Words&) {
  const PassTimes times = s.machine().cpu().take_pass_times();
  return "ok " + std::to_string(times.other_us) + " " + std::to_string(times.scan_us);
}

std::string counts(Simulation& s, Words&) {
  return "ok " + std::to_string(s.host_bytes()) + " " + std::to_string(s.controller_bytes());
}

std::string hold_bus(Simulation& s, Words& words) {
  uint64_t us;
  if (!(words >> us)) return error("needs US");
  s.machine().hold_bus_us(us);
  return "ok";
}

std::string ignore_xoff(Simulation& s, Words& words) {
  bool on;
  if (!(words >> on)) return error("needs 0 or 1");
  s.machine().ignore_xoff(on);
  return "ok";
}

std::string poke(Simulation& s, Words& words, bool (Cpu::*poke_one)(uint32_t, uint8_t)) {
  uint32_t address, byte;
  if (!(words >> address >> byte) || byte > 255) return error("needs ADDRESS and BYTE");
  return (s.machine().cpu().*poke_one)(address, uint8_t(byte)) ? "ok" : error("no such address");
}

std::string poke_program(Simulation& s, Words& words) {
  return poke(s, words, &Cpu::poke_program);
}

std::string poke_memory(Simulation& s, Words& words) { return poke(s, words, &Cpu::poke_memory); }

std::string spoil_register(Simulation& s, Words& words) {
  unsigned probe, address, value;
  bool for_good;
  if (!(words >> probe >> address >> value >> for_good) || probe > 1 || address > 7 || value > 255)
    return error("needs 0|1, REGISTER, VALUE and 0|1");
  s.machine().bus().rtd(board::Chip(probe)).spoil(uint8_t(address), uint8_t(value), for_good);
  return "ok";
}

std::string watchdog_rate(Simulation& s, Words& words) {
  double rate;
  if (!(words >> rate) || !(rate >= 0.1 && rate <= 10)) return error("needs RATE, 0.1 to 10");
  s.machine().watchdog_rate(rate);
  return "ok";
}

std::string read_eeprom(Simulation& s, Words&) {
  std::ostringstream answer;
  answer << "ok " << std::hex << std::setfill('0');
  for (uint8_t byte : s.machine().cpu().read_eeprom()) answer << std::setw(2) << int(byte);
  return answer.str();
}

std::string write_eeprom(Simulation& s, Words& words) {
  std::string hex;
  words >> hex;
  if (hex.size() % 2 || hex.find_first_not_of("0123456789abcdef") != std::string::npos)
    return error("needs bytes as lower-case hexadecimal");
  std::vector<uint8_t> bytes;
  for (size_t at = 0; at < hex.size(); at += 2)
    bytes.push_back(uint8_t(std::stoi(hex.substr(at, 2), nullptr, 16)));
  s.machine().cpu().write_eeprom(bytes);
  return "ok";
}

std::string run(Simulation& s, Words& words) {
  double speed;
  if (!(words >> speed) || speed < 0) return error("needs SPEED, 0 or more");
  s.run_free(speed);
  return "ok";
}

std::string stop(Simulation& s, Words&) {
  s.run_free(std::nullopt);
  return "ok";
}

std::string quit(Simulation& s, Words&) {
  s.quit();
  return "ok";
}

struct Command {
  const char* name;
  std::string (*serve)(Simulation&, Words&);
  const char* arguments;
  const char* meaning;
};
constexpr Command commands[] = {
    {"advance", advance, "US HOST_BYTES",
     "once so many host bytes in all have come, let time pass;\n"
     "answers the time in microseconds and all bytes sent so far"},
    {"boot", boot, "CAUSE", "power_on, external, brown_out or unknown; the plant goes on"},
    {"fault", fault, "KIND STATION AT_S UNTIL_S SIZE", "of the plant; station 0 = whole bench"},
    {"set", set, "KEY VALUE", "parameter of the plant"},
    {"get", get, "KEY",
     "parameter or true value of the plant, output.NAME,\n"
     "output.station_switch.N, output.element_code.N,\n"
     "resets, stack_unused (bytes)"},
    {"changes", changes, "", "outputs changed since last asked, as US:NAME=0 or 1"},
    {"counts", counts, "", "host bytes come and controller bytes sent, in all"},
    {"pass_times", pass_times, "",
     "longest pass of the loop in microseconds since last asked: without\n"
     "a scan, with one"},
    {"hold_bus", hold_bus, "US", "no SPI transfer ends for so long; a reset frees it"},
    {"ignore_xoff", ignore_xoff, "0|1", "bytes come although the receiver is full"},
    {"read_eeprom", read_eeprom, "", "all bytes in hexadecimal"},
    {"write_eeprom", write_eeprom, "HEX", "from address 0; the rest becomes blank"},
    {"poke_program", poke_program, "ADDRESS BYTE", "changes program memory"},
    {"poke_memory", poke_memory, "ADDRESS BYTE", "changes data memory"},
    {"spoil_register", spoil_register, "PROBE REGISTER VALUE FOR_GOOD",
     "of the RTD converter of bath (0) or guard (1); for good (1), it\n"
     "takes no other value"},
    {"watchdog_rate", watchdog_rate, "RATE", "of its oscillator, 1 = nominal, from the next boot"},
    {"run", run, "SPEED", "time passes by itself, in multiples of life; 0 = at full speed"},
    {"stop", stop, "", "back to lock step"},
    {"quit", quit, "", ""},
};

}  // namespace

std::string serve(Simulation& simulation, const std::string& line) {
  Words words(line);
  std::string name;
  words >> name;
  for (const Command& command : commands)
    if (name == command.name) return command.serve(simulation, words);
  return error("no command " + name);
}

std::string command_help() {
  std::ostringstream help;
  for (const Command& command : commands) {
    help << "  " << command.name << " " << command.arguments << "\n";
    std::istringstream meaning(command.meaning);
    for (std::string line; std::getline(meaning, line);) help << "      " << line << "\n";
  }
  return help.str();
}

}  // namespace simulator
