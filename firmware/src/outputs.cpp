#include "outputs.hpp"

#include "clock.hpp"
#include "events.hpp"

namespace outputs {
namespace {
// What was told last, to know a change.
bool told_latch;
bool told_catch;
wire::State told_state;

void set(uint8_t mask, bool on) {
  if (on) {
    PORTB |= mask;
  } else {
    PORTB &= static_cast<uint8_t>(~mask);
  }
}

void tell(wire::Event code, uint8_t value, uint8_t extra) {
  events::push_locked({clock::now_locked(), code, value, extra});
}

void tell_output(bool &told, bool on, wire::Output output) {
  if (on != told) {
    told = on;
    tell(wire::Event::OUTPUT, static_cast<uint8_t>(output), on);
  }
}
}  // namespace

void start() {
  PORTB &= static_cast<uint8_t>(~(LATCH | CATCH | LAMP));
  DDRB |= LATCH | CATCH | LAMP;
}

void publish_locked(const Interlock &interlock) {
  set(LATCH, interlock.latch());
  set(CATCH, interlock.catch_open());
  set(LAMP, interlock.lamp());
  tell_output(told_latch, interlock.latch(), wire::Output::LATCH);
  tell_output(told_catch, interlock.catch_open(), wire::Output::CATCH);
  if (interlock.state() != told_state) {
    told_state = interlock.state();
    tell(wire::Event::STATE, static_cast<uint8_t>(told_state),
         static_cast<uint8_t>(interlock.reason()));
  }
}

uint8_t energised() {
  const uint8_t port = PORTB;
  uint8_t bits = 0;
  if (port & LATCH) bits |= 1U << static_cast<uint8_t>(wire::Output::LATCH);
  if (port & CATCH) bits |= 1U << static_cast<uint8_t>(wire::Output::CATCH);
  if (port & LAMP) bits |= 1U << static_cast<uint8_t>(wire::Output::LAMP);
  return bits;
}
}  // namespace outputs
