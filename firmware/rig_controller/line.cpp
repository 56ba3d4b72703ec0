// Bytes to numbers and back, without the library's scanf and printf.

#include "line.h"

#include <string.h>

#include "board.h"

namespace {

const char words[] IN_PROGRAM_MEMORY = WIRE_WORDS;

// Where the text of a word begins.
const char* text_of(wire::Word word) {
  const char* at = words;
  for (uint8_t before = 1; before < uint8_t(word); ++before)
    while (board::program_char(at++)) {}
  return at;
}

constexpr uint8_t check_length = 6;  // " #" and four digits

char hex_digit(uint8_t value) {
  return char(value < 10 ? '0' + value : 'A' + value - 10);
}

bool is_digit(char c) {
  return c >= '0' && c <= '9';
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

void LineBuffer::drain(uint16_t& most) {
  for (; !complete_ && most; --most) {
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

bool LineReader::word(wire::Word word) {
  const char* name = text_of(word);
  uint8_t at = 0;
  for (; at < length_; ++at, ++name) {
    const char wanted = board::program_char(name);
    if (!wanted) break;
    if (text_[at] != wanted) return false;
  }
  if (at == length_ || text_[at] != ' ') return false;
  at_ = at;
  return true;
}

// The first four in 16 bits: most numbers have no more, and 32 are slow on the boards.
bool LineReader::digits(uint32_t& value) {
  if (at_ == length_ || text_[at_++] != ' ') return false;
  const char* const begin = text_ + at_;
  const char* const end = text_ + length_;
  const char* at = begin;
  uint16_t four = 0;
  for (; at != end && at - begin < 4 && is_digit(*at); ++at) four = four * 10 + (*at - '0');
  uint32_t all = four;
  for (; at != end && is_digit(*at); ++at) {
    const uint8_t digit = uint8_t(*at - '0');
    if (all > 429496729UL || (all == 429496729UL && digit > 5)) return false;
    all = all * 10 + digit;
  }
  value = all;
  at_ = uint8_t(at - text_);
  return at - begin == 1 || (at - begin > 1 && *begin != '0');
}

void LineWriter::put(char c) {
  if (length_ < sizeof text_) text_[length_++] = c;
}

void LineWriter::word(wire::Word word) {
  length_ = sent_ = 0;
  for (const char* at = text_of(word); const char c = board::program_char(at); ++at) put(c);
}

// A division of 32 bits is slow on the boards: at most two are made. A tenth of 16 bits is a
// multiplication, exact to 81919, and a shift by 16 costs nothing there.
void LineWriter::number(uint32_t value) {
  char digits[11];  // ten and a space
  uint8_t at = sizeof digits;
  const auto take_digit = [&](uint16_t& part) {
    const uint16_t tenth = uint16_t((part * 52429UL) >> 16) >> 3;
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
  digits[--at] = ' ';
  const uint8_t count = uint8_t(sizeof digits - at);
  if (length_ + count > sizeof text_) return;
  memcpy(text_ + length_, digits + at, count);
  length_ += count;
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
