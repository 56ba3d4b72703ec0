// The line codec against the golden lines the host's tests read too, and against damaged lines.

#include <cstring>
#include <fstream>
#include <random>

#include "check.h"
#include "rig.h"

namespace {

std::string unescape(const std::string& text) {
  std::string out;
  for (size_t i = 0; i < text.size(); ++i)
    if (text.compare(i, 2, "\\x") == 0) {
      out += char(std::stoi(text.substr(i + 2, 2), nullptr, 16));
      i += 3;
    } else {
      out += text[i];
    }
  return out;
}

template <class Message> bool reads(const std::string& text, wire::Word word) {
  LineReader line(text.data(), uint8_t(text.size()));
  Message message = {};
  return line.checked() && line.word(word) && read(line, message);
}

// As the controller: a line too long for it never reaches the reader.
bool host_line_reads(const std::string& line) {
  if (line.size() >= wire::line_max) return false;
  return reads<wire::Hello>(line, wire::Word::hello) || reads<wire::Demand>(line, wire::Word::demand) ||
         reads<wire::Limits>(line, wire::Word::limits) || reads<wire::Clear>(line, wire::Word::clear);
}

template <class Message> std::string written(const Message& message) {
  LineWriter line;
  write(line, message);
  line.finish();
  return std::string(line.text(), line.length());
}

}  // namespace

TEST(golden_lines_of_the_host) {
  std::ifstream file(check::data_folder() + "/wire_golden.txt");
  int seen[2] = {};
  for (std::string row; std::getline(file, row);) {
    const size_t first = row.find('\t'), second = row.find('\t', first + 1);
    if (row[0] == '#' || second == std::string::npos) continue;
    if (row.substr(first + 1, second - first - 1) != "host") continue;
    const bool good = row.compare(0, first, "ok") == 0;
    const std::string line = unescape(row.substr(second + 1));
    ++seen[good];
    if (host_line_reads(line) != good) {
      ++check::failures();
      std::cout << "judged otherwise: " << row << '\n';
    }
  }
  CHECK(seen[0] >= 5 && seen[1] >= 5);
}

TEST(golden_lines_of_the_controller) {
  std::ifstream file(check::data_folder() + "/wire_golden.txt");
  std::string all((std::istreambuf_iterator<char>(file)), std::istreambuf_iterator<char>());
  const auto golden = [&](const std::string& line) {
    return all.find("ok\tcontroller\t" + line) != std::string::npos;
  };
  CHECK(golden(written(wire::Refused{2, 1234, 4})));
  CHECK(golden(written(wire::Trip{4, 6, 60001, 60000})));
  wire::Identity identity = {1, 100, 1, 6, 400, 12, 1, 4026531840u, 1, 3, 0, 0, 0};
  CHECK(golden(written(identity)));
  wire::Sample top;
  memset(&top, 0xFF, sizeof top);
  top.state = 2;
  top.trip_reason = 28;
  top.stop_reason = 3;
  top.causes = 536870911;
  top.bath_sum = top.guard_sum = 131068;
  top.duty = 1000;
  for (uint8_t& flags : top.station_flags) flags = 127;
  top.inputs = 31;
  top.outputs = 63;
  top.refused = top.malformed = 999;
  CHECK(golden(written(top)));
}

TEST(crc_of_the_check_string) {
  // CRC-16/XMODEM: 123456789 gives 31C3 (its published check value).
  uint16_t crc = 0;
  for (const char c : std::string("123456789")) crc = crc_update(crc, uint8_t(c));
  CHECK_EQUAL(crc, 0x31C3);
}

TEST(numbers_are_written_as_printf_does) {
  const auto check_number = [](uint32_t value) {
    LineWriter line;
    line.word(wire::Word::trip);
    line.number(value);
    CHECK_EQUAL(std::string(line.text(), line.length()).compare("trip " + std::to_string(value)), 0);
  };
  for (uint32_t value = 0; value < 70000; ++value) check_number(value);
  for (uint32_t power = 100000; power <= 1000000000; power *= 10) {
    for (const uint32_t value : {power - 1, power, power + 1, power * 4}) check_number(value);
    if (power == 1000000000) break;
  }
  check_number(4294967295u);
}

TEST(line_too_long_is_dropped_and_counted) {
  Rig rig;
  rig.say_raw(std::string(5000, 'x') + "\n");
  rig.ticks(5);
  CHECK_EQUAL(rig.c.malformed_count, 1);
  rig.say(rig.answer());
  rig.tick();
  CHECK(rig.live());
}

TEST(garbage_between_lines_costs_only_itself) {
  Rig rig;
  const std::string noise("\0\xff\x80\r\n #\ndemand\ndemand 1 2\n", 26);
  rig.say_raw(noise);
  rig.say(rig.answer());
  rig.tick();
  CHECK(rig.live());
  CHECK_EQUAL(rig.c.malformed_count, 4);
}

TEST(line_in_pieces_is_one_line) {
  Rig rig;
  const std::string line = written(rig.answer());
  for (const char c : line) {
    rig.say_raw(std::string(1, c));
    if (rig.c.scans == 3) rig.tick();
    rig.board.make_current();
    uint16_t one = 1;
    rig.c.received.drain(one);
  }
  rig.pass();
  CHECK(rig.live());
}

TEST(damaged_demands_are_not_taken) {
  std::mt19937 random(20240607);
  Rig rig;
  for (int i = 0; i < 20000; ++i) {
    wire::Demand demand = rig.answer();
    demand.duty = 700;
    std::string line = written(demand);
    const size_t body = line.size() - 1;
    const size_t at = random() % body;  // a burst of up to 16 bits: two neighbouring bytes
    line[at] = char(line[at] ^ (1 + random() % 255));
    if (at + 1 < body && random() % 2) line[at + 1] = char(line[at + 1] ^ (random() % 256));
    rig.say_raw(line);
    rig.pass();
    rig.heard();
    if (rig.live()) break;
  }
  CHECK(!rig.live());
  CHECK_EQUAL(rig.c.refused_count, 0);
}

TEST(random_bytes_never_switch_anything) {
  std::mt19937 random(7);
  Rig rig;
  for (int i = 0; i < 3000; ++i) {
    std::string bytes(random() % 300, 0);
    for (char& byte : bytes) byte = random() % 12 == 0 ? '\n' : char(random());
    rig.say_raw(bytes);
    rig.pass();
    rig.heard();
  }
  CHECK(rig.outputs_off());
  CHECK(rig.c.status.state == wire::State::ready);
}
