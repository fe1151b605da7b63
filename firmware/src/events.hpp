// Queue of events from interrupts to the main loop.
#pragma once
#include "board.hpp"

namespace events {
struct Event {
  uint32_t time;
  wire::Event code;
  uint8_t value;
  uint8_t extra;
};

// Interrupts must be off. A full queue loses the event, and says so by `lost`.
void push_locked(const Event &event);
bool empty();
Event pop();     // only when not empty()
uint8_t lost();  // events lost since boot, modulo 256
}  // namespace events
