// Which pins Firmata may touch. Numbers as Firmata counts them: 0-13 digital, 14-19 = A0-A5.
#pragma once
#include "wire.h"

namespace pins {
constexpr uint8_t COUNT = 20;
constexpr uint8_t FIRST_ANALOG = 14;

// Modes as the Firmata protocol document numbers them.
constexpr uint8_t INPUT = 0, OUTPUT = 1, ANALOG = 2, PULLUP = 11;
constexpr uint8_t NO_MODE = 0x7F;

constexpr bool is_analog(uint8_t pin) { return pin == 19; }
constexpr bool is_free(uint8_t pin) { return pin == 13 || is_analog(pin); }
constexpr bool offers(uint8_t pin, uint8_t mode) {
  return is_free(pin) && (mode == INPUT || mode == OUTPUT || mode == PULLUP ||
                          (mode == ANALOG && is_analog(pin)));
}

static_assert(!is_free(wire::pin::SERIAL_RX) && !is_free(wire::pin::SERIAL_TX) &&
                  !is_free(wire::pin::ENCODER_A) && !is_free(wire::pin::ENCODER_B) &&
                  !is_free(wire::pin::GUARD) && !is_free(wire::pin::ESTOP) &&
                  !is_free(wire::pin::BUTTON) && !is_free(wire::pin::GATE) &&
                  !is_free(wire::pin::LATCH) && !is_free(wire::pin::CATCH) &&
                  !is_free(wire::pin::LAMP) && !is_free(wire::pin::LOAD_DATA) &&
                  !is_free(wire::pin::LOAD_CLOCK) && !is_free(wire::pin::ANGLE) &&
                  !is_free(wire::pin::NEAR) && !is_free(wire::pin::FAR) &&
                  !is_free(wire::pin::DRIVE),
              "a pin of the rig must not be offered to Firmata");
}  // namespace pins
