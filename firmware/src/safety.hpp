// Owns the interlock: brings it its inputs, and its decisions to the outputs.
#pragma once
#include "interlock.hpp"

namespace safety {
struct View {
  wire::State state;
  wire::Reason reason;
  uint16_t permit_left_ms;
  uint16_t beat_age_ms;
};

void start(bool after_watchdog);
View view();

// The host's wishes; each is settled, outputs and all, before it returns.
Answer arm(int16_t low, int16_t high, uint32_t nonce);
Answer permit(uint32_t nonce);
Answer clear();
void disarm();
void beat();
}  // namespace safety
