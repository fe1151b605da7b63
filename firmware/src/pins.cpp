#include "pins.hpp"

#include "angle.hpp"
#include "board.hpp"

namespace {
struct Registers {
  volatile uint8_t *level, *direction, *read;
};

Registers registers(uint8_t pin) {
  if (board::on_port_d(pin)) return {&PORTD, &DDRD, &PIND};
  if (board::on_port_b(pin)) return {&PORTB, &DDRB, &PINB};
  return {&PORTC, &DDRC, &PINC};
}

// The ports are shared with the interlock's outputs, which interrupts write.
void set_locked(volatile uint8_t *port, uint8_t mask, bool on) {
  *port = static_cast<uint8_t>(on ? *port | mask : *port & ~mask);
}
}  // namespace

void FreePins::configure(uint8_t pin, uint8_t mode) {
  const Registers at = registers(pin);
  const uint8_t mask = board::mask(pin);
  const board::InterruptsOff lock;
  set_locked(at.level, mask, mode == pins::PULLUP);  // a fresh output starts low
  set_locked(at.direction, mask, mode == pins::OUTPUT);
}

void FreePins::write(uint8_t pin, bool level) {
  const Registers at = registers(pin);
  const uint8_t mask = board::mask(pin);
  const board::InterruptsOff lock;
  set_locked(at.level, mask, level);
}

bool FreePins::read(uint8_t pin) { return *registers(pin).read & board::mask(pin); }

void FreePins::start_conversion(uint8_t pin) {
  angle::ask(static_cast<uint8_t>(pin - pins::FIRST_ANALOG));
}

bool FreePins::conversion_done() { return angle::answered(); }

uint16_t FreePins::conversion() { return angle::answer(); }
