// Bridge converter: 24 bits by two wires. Its data line falls when a conversion is ready.
#pragma once
#include "board.hpp"

namespace load {
struct Reading {
  uint32_t time;  // of the falling edge
  uint32_t code;  // 24 bits, two's complement, as they came: the host extends the sign
};

void start();
void stream(bool on);
void poll();                    // reads a ready conversion; the main loop, as often as it can
void watch(uint16_t now_ms);    // once a millisecond: notices silence
bool ready();                   // a conversion waits to be read
const Reading *waiting();       // to be sent; null when none is
void release();                 // the one waiting() gave
uint8_t faults();               // begun since boot, modulo 256
uint8_t discarded();            // readings thrown away, modulo 256
uint8_t lost();                 // readings that found no room, modulo 256
}  // namespace load
