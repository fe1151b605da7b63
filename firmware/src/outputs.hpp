// The pins of latch, catch and lamp. Decides nothing: it writes what the interlock says.
#pragma once
#include "board.hpp"
#include "interlock.hpp"

namespace outputs {
constexpr uint8_t LATCH = board::mask(wire::pin::LATCH);
constexpr uint8_t CATCH = board::mask(wire::pin::CATCH);
constexpr uint8_t LAMP = board::mask(wire::pin::LAMP);

void start();

// Interrupts must be off. Writes the pins, then tells what changed by events.
void publish_locked(const Interlock &interlock);

// Both solenoids off at once, before any bookkeeping. Interrupts must be off.
inline void drop_locked() { PORTB &= static_cast<uint8_t>(~(LATCH | CATCH)); }

uint8_t energised();  // bits by wire::Output
}  // namespace outputs
