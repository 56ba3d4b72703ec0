// Lines on the wire: gathered from bytes, checked, read and written number by number.

#pragma once
#include <stdint.h>

#include "wire.h"

// CRC-16/XMODEM of one more byte; in bytes, as the boards shift no more than one bit at a time.
inline uint16_t crc_update(uint16_t crc, uint8_t byte) {
  uint8_t x = uint8_t(crc >> 8) ^ byte;
  x ^= x >> 4;
  const uint8_t high = uint8_t(crc) ^ uint8_t(x << 4) ^ uint8_t(x >> 3);
  const uint8_t low = uint8_t(x << 5) ^ x;
  return uint16_t(uint16_t(high) << 8 | low);
}

// Gathers received bytes into one line; a line too long is dropped and counted.
class LineBuffer {
 public:
  // Takes waiting bytes until a line is complete, `most` of them at most; leaves there how many
  // more it may take.
  void drain(uint16_t& most);
  bool complete() const { return complete_; }
  void clear();
  const char* text() const { return text_; }
  uint8_t length() const { return length_; }  // without the newline

  // Lines dropped since the last call.
  uint8_t take_dropped();

 private:
  void take(char byte);

  char text_[wire::line_max - 1];
  uint8_t length_ = 0;
  uint8_t dropped_ = 0;
  bool complete_ = false;
  bool skipping_ = false;
};

// Reads `word integers... #crc`; the Reader of wire.h.
class LineReader {
 public:
  LineReader(const char* text, uint8_t length);
  bool checked() const { return checked_; }

  // Whether the line's word is this one; moves behind it.
  bool word(wire::Word word);

  template <class T> bool number(T& out, uint32_t low, uint32_t high) {
    uint32_t value;
    if (!digits(value)) return false;
    if (value < low || value > high) {
      outside_ = true;
      return false;
    }
    out = T(value);
    return true;
  }

  template <class T> bool numbers(T* out, uint8_t count, uint32_t low, uint32_t high) {
    for (uint8_t i = 0; i < count; ++i)
      if (!number(out[i], low, high)) return false;
    return true;
  }

  bool end() const { return at_ == length_; }

  // A number was read that is outside its range.
  bool outside() const { return outside_; }

 private:
  bool digits(uint32_t& value);

  const char* text_;
  uint8_t length_;  // of what the checksum covers
  uint8_t at_ = 0;
  bool checked_;
  bool outside_ = false;
};

// Writes one line, then gives its bytes to the serial port; the Writer of wire.h.
class LineWriter {
 public:
  bool empty() const { return sent_ == length_; }
  void word(wire::Word word);
  void number(uint32_t value);

  template <class T> void numbers(const T* values, uint8_t count) {
    for (uint8_t i = 0; i < count; ++i) number(values[i]);
  }

  // Appends checksum and newline.
  void finish();

  // Hands over what the port takes.
  void send();

  const char* text() const { return text_; }
  uint8_t length() const { return length_; }

 private:
  void put(char c);

  char text_[wire::line_max];
  uint8_t length_ = 0;
  uint8_t sent_ = 0;
};
