#include "safety.hpp"

#include "height.hpp"
#include "inputs.hpp"
#include "outputs.hpp"
#include "switches.hpp"
#include "watchdog.hpp"

namespace safety {
namespace {
// Shared by the tick, the pin change and the main loop, so touched with interrupts off only.
Interlock interlock;
Drive drive;

inline void publish() { outputs::publish_locked(interlock, drive); }

// What the drive looks at, as it is now.
struct Now {
  static bool guard() { return inputs::read().guard; }
  static bool estop() { return inputs::read().estop; }
  static bool near() { return switches::strokes.near(); }
  static bool far() { return switches::strokes.far(); }
  static bool beat_lost() { return interlock.beat_lost(); }
  static uint8_t button_ms() { return interlock.button_ms(); }
  static wire::State interlock_state() { return interlock.state(); }
  static uint32_t counted() { return switches::strokes.counted(); }
  static uint8_t ends() { return switches::strokes.ends(); }
  static uint8_t faults() { return switches::strokes.faults(); }
};

inline void stop(wire::Reason reason) { drive.stop(reason, switches::strokes.counted()); }

// Apart, so that the tick saves few registers while there is no drive to look after.
__attribute__((noinline)) void tick_drive() { drive.tick(Now()); }

void tick() {
  const inputs::Contacts contacts = inputs::read();
  interlock.tick({contacts.guard, contacts.estop, contacts.button, height::decoder.position()});
  if (drive.state() != wire::DriveState::OFF) {
    tick_drive();
  }
}
}  // namespace

void start(bool after_watchdog) {
  outputs::start();
  const board::InterruptsOff lock;
  tick();
  if (after_watchdog) {
    interlock.trip(wire::Reason::WATCHDOG);
  }
  publish();
}

View view() {
  const board::InterruptsOff lock;
  return {interlock.state(), interlock.reason(), interlock.permit_left_ms(),
          interlock.beat_age_ms()};
}

DriveView drive_view() {
  const board::InterruptsOff lock;
  return {drive.state(), drive.reason(), drive.target_left(switches::strokes.counted())};
}

Answer arm(int16_t low, int16_t high, uint32_t nonce) {
  const board::InterruptsOff lock;
  if (drive.state() != wire::DriveState::OFF) {
    return {wire::Reason::BUSY, 1UL << static_cast<uint8_t>(wire::Reason::BUSY)};
  }
  const Answer answer = interlock.arm(low, high, nonce);
  publish();
  return answer;
}

Answer permit(uint32_t nonce) {
  const board::InterruptsOff lock;
  const Answer answer = interlock.permit(nonce);
  publish();
  return answer;
}

Answer clear() {
  const board::InterruptsOff lock;
  const Answer answer = interlock.clear();
  publish();
  return answer;
}

void disarm() {
  const board::InterruptsOff lock;
  interlock.disarm();
  stop(wire::Reason::HOST_DISARM);
  publish();
}

Answer arm_drive(uint32_t target, uint32_t nonce) {
  const board::InterruptsOff lock;
  const Answer answer = drive.arm(target, nonce, Now());
  publish();
  return answer;
}

Answer permit_drive(uint32_t nonce) {
  const board::InterruptsOff lock;
  const Answer answer = drive.permit(nonce, Now());
  publish();
  return answer;
}

void stop_drive() {
  const board::InterruptsOff lock;
  stop(wire::Reason::HOST_DISARM);
  publish();
}

void beat() {
  const board::InterruptsOff lock;
  interlock.beat();
}
}  // namespace safety

ISR(TIMER2_COMPB_vect) {
  using namespace safety;
  tick();
  publish();
  watchdog::mark_locked(watchdog::INTERLOCK);
}

// Guard or e-stop has moved. An open one always ends with solenoids and drive off, whatever the
// state, so the pins drop before anything is looked into.
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
    stop(wire::Reason::ESTOP_OPEN);
  }
  if (open & GUARD) {
    interlock.loop_open(wire::Reason::GUARD_OPEN);
    stop(wire::Reason::GUARD_OPEN);
  }
  publish();
}
