// Numbers that the host cannot know beforehand, so that a PERMIT answers one ARM only.
#pragma once
#include <stdint.h>

class NonceSource {
 public:
  // The boot counter makes boots differ; the time of each request stirs in the host's jitter.
  void start(uint16_t boot, uint16_t time) {
    state_ = (static_cast<uint32_t>(boot) << 16 | time) ^ 0x9E3779B9UL;
    if (state_ == 0) {
      state_ = 1;  // xorshift never leaves zero
    }
  }

  // 28 bits, never zero (zero means "no nonce").
  uint32_t next(uint32_t time) {
    const uint32_t stirred = state_ ^ time;
    state_ = stirred ? stirred : 1;
    state_ ^= state_ << 13;  // Marsaglia's xorshift32, triple 13, 17, 5
    state_ ^= state_ >> 17;
    state_ ^= state_ << 5;
    const uint32_t nonce = state_ & 0x0FFFFFFFUL;
    return nonce ? nonce : 1;
  }

 private:
  uint32_t state_ = 1;
};
