// The pins of latch, catch, lamp and drive. Decides nothing: it writes what the interlocks say.
#pragma once
#include "board.hpp"
#include "drive.hpp"

namespace outputs {
constexpr uint8_t LATCH = board::mask(wire::pin::LATCH);
constexpr uint8_t CATCH = board::mask(wire::pin::CATCH);
constexpr uint8_t LAMP = board::mask(wire::pin::LAMP);
constexpr uint8_t DRIVE = board::mask(wire::pin::DRIVE);

void start();

// Interrupts must be off. Writes the pins, then tells what changed by events.
void publish_locked(const Interlock &interlock, const Drive &drive);

// Both solenoids and the drive off at once, before any bookkeeping. Interrupts must be off.
inline void drop_locked() {
  PORTB &= static_cast<uint8_t>(~(LATCH | CATCH));
  PORTC &= static_cast<uint8_t>(~DRIVE);
}

inline bool driving() { return PORTC & DRIVE; }

uint8_t energised();  // bits by wire::Output
}  // namespace outputs
