// Quadrature decoder, four counts a cycle. A leads B when the height rises.
#pragma once
#include <stdint.h>

class Quadrature {
 public:
  // `levels`: bit 0 is A, bit 1 is B.
  void start(uint8_t levels) { levels_ = levels; }

  void edge(uint8_t levels) {
    const uint8_t changed = levels_ ^ levels;
    if (changed == 3) {
      // Both lines moved since the last look: an edge was missed and its direction is unknown.
      illegal_ = static_cast<uint8_t>(illegal_ + 1);
    } else if (changed) {
      // Unsigned arithmetic: a count that runs out of 16 bits wraps, as the host expects.
      const bool rising = ((levels_ >> 1) ^ levels) & 1;
      count_ = static_cast<uint16_t>(count_ + (rising ? 1U : 0xFFFFU));
    }
    levels_ = levels;
  }

  int16_t position() const { return static_cast<int16_t>(count_); }
  uint8_t illegal() const { return illegal_; }

 private:
  uint16_t count_ = 0;
  uint8_t levels_ = 0;
  uint8_t illegal_ = 0;
};
