#include "outputs.hpp"

#include "clock.hpp"
#include "events.hpp"

namespace outputs {
namespace {
// What was told last, to know a change.
bool told_latch;
bool told_catch;
wire::State told_state;
wire::DriveState told_drive;

// The mask is a template argument so that this is one bit instruction.
template <uint8_t MASK>
inline void set(volatile uint8_t &port, bool on) {
  if (on) {
    port |= MASK;
  } else {
    port &= static_cast<uint8_t>(~MASK);
  }
}

// Apart, so that the tick saves few registers while nothing changes.
__attribute__((noinline)) void tell_changes(const Interlock &interlock, const Drive &drive) {
  const uint32_t now = clock::now_locked();
  if (drive.state() != told_drive) {
    told_drive = drive.state();
    events::push_locked({now, wire::Event::DRIVE, static_cast<uint8_t>(told_drive),
                         static_cast<uint8_t>(drive.reason())});
  }
  if (interlock.state() != told_state) {
    told_state = interlock.state();
    events::push_locked({now, wire::Event::STATE, static_cast<uint8_t>(told_state),
                         static_cast<uint8_t>(interlock.reason())});
  }
  if (interlock.latch() != told_latch) {
    told_latch = interlock.latch();
    events::push_locked({now, wire::Event::OUTPUT, static_cast<uint8_t>(wire::Output::LATCH),
                         told_latch});
  }
  if (interlock.catch_open() != told_catch) {
    told_catch = interlock.catch_open();
    events::push_locked({now, wire::Event::OUTPUT, static_cast<uint8_t>(wire::Output::CATCH),
                         told_catch});
  }
}
}  // namespace

void start() {
  PORTB &= static_cast<uint8_t>(~(LATCH | CATCH | LAMP));
  PORTC &= static_cast<uint8_t>(~DRIVE);
  DDRB |= LATCH | CATCH | LAMP;
  DDRC |= DRIVE;
}

void publish_locked(const Interlock &interlock, const Drive &drive) {
  set<LATCH>(PORTB, interlock.latch());
  set<CATCH>(PORTB, interlock.catch_open());
  set<DRIVE>(PORTC, drive.running());
  set<LAMP>(PORTB, interlock.lamp() || drive.lamp());
  if (interlock.state() != told_state || interlock.latch() != told_latch ||
      interlock.catch_open() != told_catch || drive.state() != told_drive) {
    tell_changes(interlock, drive);
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
