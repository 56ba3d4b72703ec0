// Repeatable random numbers: each user owns a stream, so that one more draw here moves nothing there.
#pragma once

#include <stdint.h>

namespace plant {

class Noise {
 public:
  Noise(uint64_t seed, uint64_t stream) : state_(scramble(seed + 1) ^ scramble(~stream)) {}

  uint64_t bits() {
    state_ += 0x9E3779B97F4A7C15u;  // odd, so the counter visits every value once
    return scramble(state_);
  }

  double uniform() { return double(bits() >> 11) * (1.0 / 9007199254740992.0); }  // 0 <= u < 1

  // Mean 0, variance 1, bounded at 3.5: the sum of four uniform 16-bit pieces of one draw.
  double gauss() {
    const uint64_t b = bits();
    const int32_t sum = int32_t(b & 0xFFFF) + int32_t(b >> 16 & 0xFFFF) +
                        int32_t(b >> 32 & 0xFFFF) + int32_t(b >> 48);
    return (sum - 131070) * (1.7320508075688772 / 65536.0);
  }

 private:
  static uint64_t scramble(uint64_t x) {
    x = (x ^ (x >> 32)) * 0xD6E8FEB86659FD93u;
    x = (x ^ (x >> 32)) * 0xD6E8FEB86659FD93u;
    return x ^ (x >> 32);
  }

  uint64_t state_;
};

// Noise with a memory: mean 0, given spread, correlated over a time.
class Drifting {
 public:
  void prepare(double keep, double renew) {
    keep_ = keep;
    renew_ = renew;
  }
  double next(Noise& noise) { return value_ = keep_ * value_ + renew_ * noise.gauss(); }

 private:
  double value_ = 0, keep_ = 0, renew_ = 0;
};

}  // namespace plant
