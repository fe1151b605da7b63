#include "safety.hpp"

#include "height.hpp"
#include "inputs.hpp"
#include "outputs.hpp"
#include "watchdog.hpp"

namespace safety {
namespace {
// Shared by the tick, the pin change and the main loop, so touched with interrupts off only.
Interlock interlock;

void tick() {
  const inputs::Contacts contacts = inputs::read();
  interlock.tick({contacts.guard, contacts.estop, contacts.button, height::decoder.position()});
}
}  // namespace

void start(bool after_watchdog) {
  outputs::start();
  const board::InterruptsOff lock;
  tick();
  if (after_watchdog) {
    interlock.trip(wire::Reason::WATCHDOG);
  }
  outputs::publish_locked(interlock);
}

View view() {
  const board::InterruptsOff lock;
  return {interlock.state(), interlock.reason(), interlock.permit_left_ms(),
          interlock.beat_age_ms()};
}

Answer arm(int16_t low, int16_t high, uint32_t nonce) {
  const board::InterruptsOff lock;
  const Answer answer = interlock.arm(low, high, nonce);
  outputs::publish_locked(interlock);
  return answer;
}

Answer permit(uint32_t nonce) {
  const board::InterruptsOff lock;
  const Answer answer = interlock.permit(nonce);
  outputs::publish_locked(interlock);
  return answer;
}

Answer clear() {
  const board::InterruptsOff lock;
  const Answer answer = interlock.clear();
  outputs::publish_locked(interlock);
  return answer;
}

void disarm() {
  const board::InterruptsOff lock;
  interlock.disarm();
  outputs::publish_locked(interlock);
}

void beat() {
  const board::InterruptsOff lock;
  interlock.beat();
}
}  // namespace safety

ISR(TIMER2_COMPB_vect) {
  using namespace safety;
  tick();
  outputs::publish_locked(interlock);
  watchdog::mark_locked(watchdog::INTERLOCK);
}

// Guard or e-stop has moved. An open one always ends with both solenoids off, whatever the state,
// so the pins drop before anything is looked into.
ISR(PCINT2_vect) {
  using namespace safety;
  constexpr uint8_t GUARD = board::mask(wire::pin::GUARD);
  constexpr uint8_t ESTOP = board::mask(wire::pin::ESTOP);
  const uint8_t open = PIND & (GUARD | ESTOP);
  if (!open) {
    return;
  }
  outputs::drop_locked();
  if (open & ESTOP) {
    interlock.loop_open(wire::Reason::ESTOP_OPEN);
  }
  if (open & GUARD) {
    interlock.loop_open(wire::Reason::GUARD_OPEN);
  }
  outputs::publish_locked(interlock);
}
