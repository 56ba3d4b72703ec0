// How long a condition has lasted, on a clock that wraps.

#pragma once
#include <stdint.h>

// True from the moment `due_ms` on; good for 24 days either way.
inline bool reached(uint32_t now_ms, uint32_t due_ms) {
  return int32_t(now_ms - due_ms) >= 0;
}

class Lasting {
 public:
  // Takes the condition as it stands; call at each look.
  void note(bool present, uint32_t now_ms) {
    if (!present) since_ms_ = absent;
    else if (since_ms_ == absent) since_ms_ = now_ms == absent ? now_ms - 1 : now_ms;
  }

  // Milliseconds the condition has stood without a break, 0 while it does not stand.
  uint32_t ms(uint32_t now_ms) const { return present() ? now_ms - since_ms_ : 0; }

  bool reached(uint32_t now_ms, uint32_t limit_ms) const {
    return present() && now_ms - since_ms_ >= limit_ms;
  }

 private:
  // One moment of the clock stands for "not present": what begins then counts 1 ms more.
  static constexpr uint32_t absent = 0;
  bool present() const { return since_ms_ != absent; }

  uint32_t since_ms_ = absent;
};

// Samples in a row for which a condition stood.
class InARow {
 public:
  bool reached(bool present, uint8_t limit) {
    if (!present) count_ = 0;
    else if (count_ < 255) ++count_;
    return count_ >= limit;
  }

 private:
  uint8_t count_ = 0;
};
