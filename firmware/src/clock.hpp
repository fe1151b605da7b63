// Time: Timer 1 free running at 2 MHz, carried on to 32 bits; Timer 2 as the 1 kHz beat.
#pragma once
#include "board.hpp"

namespace clock {
extern volatile uint16_t overflows;
extern volatile uint16_t milliseconds_count;

void start();

// Carry a Timer 1 reading on to 32 bits. Interrupts must be off: an overflow that happened
// meanwhile shows only as its flag, and belongs to the reading if that is small.
inline uint32_t extend(uint16_t reading) {
  uint16_t high = overflows;
  if ((TIFR1 & _BV(TOV1)) && reading < 0x8000U) {
    ++high;
  }
  return static_cast<uint32_t>(high) << 16 | reading;
}

// Ticks of 0.5 us. Interrupts must be off (Timer 1 shares one temporary register).
inline uint32_t now_locked() { return extend(TCNT1); }

inline uint32_t now() {
  const board::InterruptsOff lock;
  return now_locked();
}

inline uint16_t milliseconds() {
  const board::InterruptsOff lock;
  return milliseconds_count;
}
}  // namespace clock
