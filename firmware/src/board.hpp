// Where the pins of the rig sit on the ATmega328P, and the interrupt lock.
#pragma once
#include <avr/interrupt.h>
#include <avr/io.h>

#include "pin_map.hpp"

namespace board {
constexpr bool on_port_d(uint8_t pin) { return pin < 8; }
constexpr bool on_port_b(uint8_t pin) { return pin >= 8 && pin < 14; }

// Bit of a Firmata pin inside its own port: D0-D7 = PD0-PD7, D8-D13 = PB0-PB5, A0-A5 = PC0-PC5.
constexpr uint8_t mask(uint8_t pin) {
  return static_cast<uint8_t>(1U << (on_port_d(pin) ? pin : on_port_b(pin) ? pin - 8 : pin - 14));
}

static_assert(wire::pin::ENCODER_A == 2 && wire::pin::ENCODER_B == 3, "INT0 and INT1");
static_assert(wire::pin::GATE == 8, "the input capture pin ICP1");
static_assert(on_port_d(wire::pin::GUARD) && on_port_d(wire::pin::ESTOP), "PCINT2 is port D");
static_assert(on_port_d(wire::pin::BUTTON), "read together with guard and e-stop");
static_assert(wire::pin::LOAD_DATA >= 14 && wire::pin::LOAD_CLOCK >= 14, "PCINT1 is port C");
static_assert(wire::pin::ANGLE >= 14, "an analog input");
static_assert(on_port_d(wire::pin::NEAR) && wire::pin::FAR >= 14, "read from ports D and C");
static_assert(on_port_b(wire::pin::LATCH) && on_port_b(wire::pin::CATCH) &&
                  on_port_b(wire::pin::LAMP),
              "both solenoids are dropped by one write to port B");
static_assert(wire::pin::DRIVE >= 14, "port C: no line of in-system programming (D11, D12, D13)");

// Interrupts off for a scope. Keep the scope short: the encoder waits for it.
class InterruptsOff {
 public:
  InterruptsOff() : saved_(SREG) { cli(); }
  ~InterruptsOff() {
    __asm__ volatile("" ::: "memory");
    SREG = saved_;
  }
  InterruptsOff(const InterruptsOff &) = delete;
  InterruptsOff &operator=(const InterruptsOff &) = delete;

 private:
  uint8_t saved_;
};
}  // namespace board
