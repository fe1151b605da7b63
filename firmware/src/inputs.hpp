// Guard, e-stop and button. All are pulled up; the contacts are to ground.
#pragma once
#include "board.hpp"

namespace inputs {
struct Contacts {
  bool guard;   // closed
  bool estop;   // healthy
  bool button;  // pressed
};

void start();
void poll();  // once a millisecond: tells of changes by events

// Low is the closed contact in all three: an open loop or a cut wire reads as not closed.
inline Contacts read() {
  const uint8_t levels = PIND;
  return {!(levels & board::mask(wire::pin::GUARD)), !(levels & board::mask(wire::pin::ESTOP)),
          !(levels & board::mask(wire::pin::BUTTON))};
}
}  // namespace inputs
