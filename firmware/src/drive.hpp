// The drive motor's interlock: arm, permit, a hand on the button; off at the least doubt.
//
// Pure logic, no registers. Its output is on while RUNNING and never else, and nothing leads to
// RUNNING but the button pressed afresh in PERMITTED: no reset, no closing of the guard, no command.
// The stand-in has the same machine in rig/virtual/board/drive.py; a randomised test holds them equal.
#pragma once
#include "interlock.hpp"

// Its methods ask an `Inputs` for what they need, and for no more:
//   bool guard(), estop(), near(), far()   closed, healthy, closed, closed
//   bool beat_lost()                       of the host
//   uint8_t button_ms()                    pressed for so long, 0 when up
//   wire::State interlock_state()
//   uint32_t counted()                     full strokes
//   uint8_t ends(), faults()               as Strokes has them
class Drive {
  using Reason = wire::Reason;
  using State = wire::DriveState;

 public:
  // One millisecond; needed only while not OFF.
  template <class Inputs>
  void tick(const Inputs &in) {
    if (++blink_ms_ >= BLINK_MS) {
      blink_ms_ = 0;
    }
    switch (state_) {
      case State::ARMED: wait(first_of(failing(in, true)), Reason::ARM_EXPIRED); break;
      case State::PERMITTED: tick_permitted(in); break;
      case State::RUNNING: tick_running(in); break;
      case State::OFF: break;
    }
  }

  // At once, between ticks as well. Nothing happens to a drive that is OFF.
  void stop(Reason reason, uint32_t counted) {
    if (state_ == State::RUNNING) {
      left_ = target_ - (counted - start_);
    }
    if (state_ != State::OFF) {
      off(reason);
    }
  }

  // `nonce` must not be zero. A running drive is not disturbed by asking.
  template <class Inputs>
  Answer arm(uint32_t target, uint32_t nonce, const Inputs &in) {
    if (state_ == State::RUNNING) {
      return refusal(Reason::BUSY);
    }
    const Answer answer = judge_arm(target, in);
    if (answer.reason != Reason::NONE) {
      stop(answer.reason, in.counted());
      return answer;
    }
    state_ = State::ARMED;
    reason_ = Reason::NONE;
    nonce_ = nonce;
    target_ = left_ = target;
    left_ms_ = wire::limit::ARM_LIMIT_MS;
    return {Reason::NONE, nonce};
  }

  template <class Inputs>
  Answer permit(uint32_t nonce, const Inputs &in) {
    if (state_ != State::ARMED) {
      return refusal(Reason::NOT_ARMED);
    }
    Answer answer = refusal(Reason::WRONG_NONCE);
    if (nonce == nonce_) {
      const uint32_t mask = failing(in, true);
      answer = {first_of(mask), mask};
    }
    if (answer.reason != Reason::NONE) {
      off(answer.reason);
      return answer;
    }
    state_ = State::PERMITTED;
    nonce_ = 0;
    left_ms_ = wire::limit::PERMIT_LIMIT_MS;
    return answer;
  }

  State state() const { return state_; }
  Reason reason() const { return reason_; }
  bool running() const { return state_ == State::RUNNING; }
  uint32_t target_left(uint32_t counted) const {
    return running() ? target_ - (counted - start_) : left_;
  }

  // A hand may start it, or it runs. Blinks as the interlock's does when armed.
  bool lamp() const {
    return state_ != State::OFF && (state_ != State::ARMED || blink_ms_ < BLINK_MS / 2);
  }

 private:
  static constexpr uint16_t BLINK_MS = 500;

  static constexpr uint32_t bit(Reason reason) { return 1UL << static_cast<uint8_t>(reason); }
  static Answer refusal(Reason reason) { return {reason, bit(reason)}; }

  // Conditions of ARMED and PERMITTED that fail.
  template <class Inputs>
  static uint32_t failing(const Inputs &in, bool with_button) {
    uint32_t mask = 0;
    if (!in.guard()) mask |= bit(Reason::GUARD_OPEN);
    if (!in.estop()) mask |= bit(Reason::ESTOP_OPEN);
    if (in.beat_lost()) mask |= bit(Reason::BEAT_LOST);
    if (!in.near()) mask |= bit(Reason::OUTSIDE_WINDOW);
    if (with_button && in.button_ms()) mask |= bit(Reason::BUTTON_HELD);
    if (in.interlock_state() != wire::State::HELD) mask |= bit(Reason::TRIPPED);
    if (in.far()) mask |= bit(Reason::SWITCH_FAULT);
    return mask;
  }

  // Byte by byte: shifting all 32 bits is dear in the tick. What fails fills no byte but these.
  static Reason first_of(uint32_t mask) {
    static_assert(static_cast<uint8_t>(Reason::TRIPPED) == 8 &&
                      static_cast<uint8_t>(Reason::SWITCH_FAULT) == 27,
                  "the bytes looked at");
    uint8_t low = static_cast<uint8_t>(mask);
    if (!low) {
      if (mask & bit(Reason::TRIPPED)) return Reason::TRIPPED;
      return mask ? Reason::SWITCH_FAULT : Reason::NONE;
    }
    uint8_t reason = 0;
    while (!(low & 1)) {
      low = static_cast<uint8_t>(low >> 1);
      ++reason;
    }
    return static_cast<Reason>(reason);
  }

  template <class Inputs>
  static Answer judge_arm(uint32_t target, const Inputs &in) {
    if (in.interlock_state() == wire::State::TRIPPED) {
      return refusal(Reason::TRIPPED);
    }
    if (in.interlock_state() != wire::State::HELD) {
      return refusal(Reason::BUSY);
    }
    if (target == 0) {
      return refusal(Reason::BAD_WINDOW);
    }
    const uint32_t mask = failing(in, true);
    return {first_of(mask), mask};
  }

  void wait(Reason against, Reason expired) {
    if (against != Reason::NONE) {
      off(against);
    } else if (--left_ms_ == 0) {
      off(expired);
    }
  }

  template <class Inputs>
  void tick_permitted(const Inputs &in) {
    const Reason against = first_of(failing(in, false));
    if (against != Reason::NONE || in.button_ms() < wire::limit::BUTTON_DEBOUNCE_MS) {
      wait(against, Reason::PERMIT_EXPIRED);
      return;
    }
    state_ = State::RUNNING;
    reason_ = Reason::RELEASED;
    start_ = in.counted();
    ends_ = in.ends();
    faults_ = in.faults();
    stalled_ms_ = 0;
    up_ms_ = 0;
  }

  template <class Inputs>
  void tick_running(const Inputs &in) {
    const Reason reason = ending(in);
    if (reason != Reason::NONE) {
      stop(reason, in.counted());
    }
  }

  template <class Inputs>
  Reason ending(const Inputs &in) {
    if (!in.guard()) return Reason::GUARD_OPEN;
    if (!in.estop()) return Reason::ESTOP_OPEN;
    if (in.beat_lost()) return Reason::BEAT_LOST;
    if (in.interlock_state() != wire::State::HELD) return Reason::TRIPPED;
    if (in.faults() != faults_) return Reason::SWITCH_FAULT;
    if (pressed_again(in.button_ms())) return Reason::STOPPED;
    if (in.ends() == ends_) {
      return ++stalled_ms_ >= wire::limit::STROKE_STALL_MS ? Reason::STALL : Reason::NONE;
    }
    ends_ = in.ends();
    stalled_ms_ = 0;
    return in.counted() - start_ >= target_ ? Reason::TARGET : Reason::NONE;
  }

  // The press that started it must have ended first.
  bool pressed_again(uint8_t button_ms) {
    if (up_ms_ >= wire::limit::BUTTON_DEBOUNCE_MS) {
      return button_ms >= wire::limit::BUTTON_DEBOUNCE_MS;
    }
    up_ms_ = button_ms ? 0 : static_cast<uint8_t>(up_ms_ + 1);
    return false;
  }

  void off(Reason reason) {
    state_ = State::OFF;
    reason_ = reason;
    nonce_ = 0;
  }

  State state_ = State::OFF;
  Reason reason_ = Reason::NONE;
  uint8_t ends_ = 0;
  uint8_t faults_ = 0;
  uint8_t up_ms_ = 0;
  uint16_t left_ms_ = 0;  // of ARMED or PERMITTED
  uint16_t stalled_ms_ = 0;
  uint16_t blink_ms_ = 0;
  uint32_t nonce_ = 0;
  uint32_t target_ = 0;
  uint32_t start_ = 0;
  uint32_t left_ = 0;
};
