// Hardware watchdog, fed by the main loop, and only when both 1 kHz interrupts ran as well.
#pragma once
#include "board.hpp"

namespace watchdog {
constexpr uint8_t SAMPLER = 1, INTERLOCK = 2;
extern volatile uint8_t seen;

void start();
void feed();

inline void mark_locked(uint8_t who) { seen = seen | who; }
}  // namespace watchdog
