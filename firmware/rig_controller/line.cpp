// Bytes to numbers and back, without the library's scanf and printf.

#include "line.h"

#include <string.h>

#include "board.h"

namespace {

constexpr uint8_t check_length = 6;  // " #" and four digits

char hex_digit(uint8_t value) {
  return char(value < 10 ? '0' + value : 'A' + value - 10);
}

uint16_t crc_of(const char* text, uint8_t length) {
  uint16_t crc = 0;
  for (uint8_t i = 0; i < length; ++i) crc = crc_update(crc, uint8_t(text[i]));
  return crc;
}

void write_check(char* out, uint16_t crc) {
  out[0] = ' ';
  out[1] = '#';
  for (uint8_t i = 0; i < 4; ++i) out[2 + i] = hex_digit((crc >> (12 - 4 * i)) & 15);
}

}  // namespace

void LineBuffer::drain() {
  while (!complete_) {
    const int16_t byte = board::serial_read();
    if (byte < 0) return;
    take(char(byte));
  }
}

void LineBuffer::take(char byte) {
  if (byte == '\n') {
    complete_ = !skipping_;
    if (skipping_) clear();
    return;
  }
  if (skipping_) return;
  if (length_ == sizeof text_) {
    skipping_ = true;
    if (dropped_ < 255) ++dropped_;
    return;
  }
  text_[length_++] = byte;
}

void LineBuffer::clear() {
  length_ = 0;
  complete_ = skipping_ = false;
}

uint8_t LineBuffer::take_dropped() {
  const uint8_t dropped = dropped_;
  dropped_ = 0;
  return dropped;
}

LineReader::LineReader(const char* text, uint8_t length)
    : text_(text), length_(length < check_length ? 0 : uint8_t(length - check_length)) {
  char check[check_length];
  write_check(check, crc_of(text, length_));
  checked_ = length_ > 0 && memcmp(check, text + length_, check_length) == 0;
}

bool LineReader::word(const char* name) {
  const uint8_t length = uint8_t(strlen(name));
  if (length >= length_ || memcmp(text_, name, length) != 0 || text_[length] != ' ') return false;
  at_ = length;
  return true;
}

bool LineReader::digits(uint32_t& value) {
  if (at_ == length_ || text_[at_++] != ' ') return false;
  const uint8_t begin = at_;
  value = 0;
  while (at_ < length_ && text_[at_] >= '0' && text_[at_] <= '9') {
    const uint8_t digit = uint8_t(text_[at_++] - '0');
    if (value > 429496729UL || (value == 429496729UL && digit > 5)) return false;
    value = value * 10 + digit;
  }
  const uint8_t count = at_ - begin;
  return count == 1 || (count > 1 && text_[begin] != '0');
}

void LineWriter::put(char c) {
  if (length_ < sizeof text_) text_[length_++] = c;
}

void LineWriter::word(const char* name) {
  length_ = sent_ = 0;
  while (*name) put(*name++);
}

// A division of 32 bits is slow on the boards: at most two are made. A tenth of 16 bits is a
// multiplication, exact to 81919.
void LineWriter::number(uint32_t value) {
  char digits[10];
  uint8_t at = sizeof digits;
  const auto take_digit = [&](uint16_t& part) {
    const uint16_t tenth = uint16_t((part * 52429UL) >> 19);
    digits[--at] = char('0' + (part - tenth * 10));
    part = tenth;
  };
  while (value > 0xFFFF) {
    const uint32_t rest = value / 10000;
    uint16_t four = uint16_t(value - rest * 10000);
    for (uint8_t i = 0; i < 4; ++i) take_digit(four);
    value = rest;
  }
  uint16_t part = uint16_t(value);
  do take_digit(part);
  while (part);
  put(' ');
  while (at < sizeof digits) put(digits[at++]);
}

void LineWriter::finish() {
  char check[check_length];
  write_check(check, crc_of(text_, length_));
  for (char c : check) put(c);
  put('\n');
}

void LineWriter::send() {
  while (sent_ < length_ && board::serial_write(uint8_t(text_[sent_]))) ++sent_;
}
