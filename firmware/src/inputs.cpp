#include "inputs.hpp"

#include <util/delay.h>

#include "clock.hpp"
#include "debounce.hpp"
#include "events.hpp"

namespace inputs {
namespace {
// Only the events are debounced, in the main loop; the interlock's interrupts see the raw levels.
Debounce guard, estop, button;

void report(Debounce &contact, bool closed, wire::Event code, uint32_t now) {
  if (contact.tick(closed, now)) {
    const board::InterruptsOff lock;
    events::push_locked({contact.changed_at(), code, contact.level(), 0});
  }
}
}  // namespace

void start() {
  PORTD |= board::mask(wire::pin::GUARD) | board::mask(wire::pin::ESTOP) |
           board::mask(wire::pin::BUTTON);
  _delay_us(100);  // long wires are slow against the weak pull-ups
  const Contacts contacts = read();
  guard.start(contacts.guard);
  estop.start(contacts.estop);
  button.start(contacts.button);
  PCMSK2 = board::mask(wire::pin::GUARD) | board::mask(wire::pin::ESTOP);
  PCIFR = _BV(PCIF2);
  PCICR = _BV(PCIE2);
}

void poll() {
  const Contacts contacts = read();
  const uint32_t now = clock::now();
  report(guard, contacts.guard, wire::Event::GUARD, now);
  report(estop, contacts.estop, wire::Event::ESTOP, now);
  report(button, contacts.button, wire::Event::BUTTON, now);
}
}  // namespace inputs
