// The interlock: it alone decides latch and catch. The lamp is lit by it or by drive.hpp.
//
// Pure logic, no registers: one `tick` each millisecond, and the host's wishes in between. The
// stand-in has the same machine in rig/virtual/board/interlock.py; a randomised test holds them equal.
#pragma once
#include "wire.h"

struct Inputs {
  bool guard;   // closed
  bool estop;   // healthy
  bool button;  // pressed
  int16_t position;
};

struct Answer {
  wire::Reason reason;
  uint32_t value;  // a nonce when granted, else a bit (1 << reason) for each unmet condition
};

class Interlock {
  using Reason = wire::Reason;
  using State = wire::State;

 public:
  void tick(const Inputs &inputs) {
    advance(blink_slow_, ARMED_BLINK_MS);
    advance(blink_fast_, TRIPPED_BLINK_MS);
    inputs_ = inputs;
    age();
    if (state_ == State::TRIPPED && !inputs_.guard) {
      guard_opened_ = true;
    }
    if (!inputs_.estop && state_ != State::TRIPPED) {
      trip(Reason::ESTOP_OPEN);
    }
    switch (state_) {
      case State::ARMED: tick_armed(); break;
      case State::PERMITTED: tick_permitted(); break;
      case State::RELEASING: tick_releasing(); break;
      case State::FLIGHT: tick_flight(); break;
      case State::HELD:
      case State::TRIPPED: break;
    }
    lamp_ = lamp_lit();
  }

  // Guard or e-stop (by the reason of that name) has just opened; called between ticks.
  void loop_open(Reason reason) {
    if (state_ == State::TRIPPED) {
      guard_opened_ |= reason == Reason::GUARD_OPEN;
    } else if (reason == Reason::ESTOP_OPEN || state_ != State::HELD) {
      trip(reason);
    }
  }

  // Judged by the inputs of the last tick. `nonce` must not be zero.
  Answer arm(int16_t low, int16_t high, uint32_t nonce) {
    const Answer answer = judge_arm(low, high);
    if (answer.reason != Reason::NONE) {
      if (state_ == State::ARMED || state_ == State::PERMITTED) {
        hold(answer.reason);
      }
      return answer;
    }
    enter(State::ARMED, Reason::NONE);
    low_ = low;
    high_ = high;
    nonce_ = nonce;
    left_ms_ = wire::limit::ARM_LIMIT_MS;
    return {Reason::NONE, nonce};
  }

  Answer permit(uint32_t nonce) {
    if (state_ != State::ARMED) {
      return refusal(Reason::NOT_ARMED);
    }
    if (nonce != nonce_) {
      hold(Reason::WRONG_NONCE);
      return refusal(Reason::WRONG_NONCE);
    }
    const Answer answer = first_of(failing(true, low_, high_));
    if (answer.reason != Reason::NONE) {
      hold_or_trip(answer.reason);
      return answer;
    }
    enter(State::PERMITTED, Reason::NONE);
    left_ms_ = wire::limit::PERMIT_LIMIT_MS;
    return answer;
  }

  void beat() { beat_age_ = 0; }

  void disarm() {
    if (state_ != State::HELD && state_ != State::TRIPPED) {
      hold(Reason::HOST_DISARM);
    }
  }

  Answer clear() {
    if (state_ != State::TRIPPED) {
      return refusal(Reason::NOT_TRIPPED);
    }
    const Answer answer = first_of(unclearable());
    if (answer.reason == Reason::NONE) {
      enter(State::HELD, Reason::NONE);
    }
    return answer;
  }

  void trip(Reason reason) {
    all_off();
    enter(State::TRIPPED, reason);
    guard_opened_ = reason == Reason::GUARD_OPEN || !inputs_.guard;
  }

  State state() const { return state_; }
  Reason reason() const { return reason_; }
  bool latch() const { return latch_; }
  bool catch_open() const { return catch_; }
  bool lamp() const { return lamp_; }
  uint16_t beat_age_ms() const { return beat_age_; }
  bool beat_lost() const { return beat_age_ > wire::limit::BEAT_LIMIT_MS; }
  uint8_t button_ms() const { return button_ms_; }  // pressed for so long, 0 when up
  uint16_t permit_left_ms() const { return state_ == State::PERMITTED ? left_ms_ : 0; }

 private:
  static constexpr uint16_t BEAT_AGE_MAX_MS = 9999;
  static constexpr uint16_t ARMED_BLINK_MS = 500;
  static constexpr uint16_t TRIPPED_BLINK_MS = 100;

  static constexpr uint32_t bit(Reason reason) { return 1UL << static_cast<uint8_t>(reason); }
  // Of the reasons that fit a byte: the tick asks for these, and wide shifts are dear there.
  static constexpr uint8_t small_bit(Reason reason) {
    return static_cast<uint8_t>(1U << static_cast<uint8_t>(reason));
  }
  static_assert(static_cast<uint8_t>(Reason::BUTTON_HELD) < 8, "conditions of ARMED fit a byte");
  static Answer refusal(Reason reason) { return {reason, bit(reason)}; }

  static void advance(uint16_t &counter, uint16_t period) {
    if (++counter >= period) {
      counter = 0;
    }
  }

  // Reasons are numbered in order of importance, so the lowest set bit is the one to name.
  static Answer first_of(uint32_t mask) {
    uint8_t reason = 0;
    if (mask) {
      while (!(mask >> reason & 1)) {
        ++reason;
      }
    }
    return {static_cast<Reason>(reason), mask};
  }

  // a - b of two counts; wraps around as the counter does.
  static int16_t difference(int16_t a, int16_t b) {
    return static_cast<int16_t>(static_cast<uint16_t>(a) - static_cast<uint16_t>(b));
  }

  void age() {
    if (beat_age_ < BEAT_AGE_MAX_MS) {
      ++beat_age_;
    }
    const int16_t moved = difference(inputs_.position, reference_);
    constexpr int16_t still = wire::limit::STEADY_COUNTS;
    if (!started_ || moved > still || moved < -still) {
      started_ = true;
      reference_ = inputs_.position;
      steady_ms_ = 0;
    } else if (steady_ms_ < wire::limit::STEADY_MS) {
      ++steady_ms_;
    }
    if (!inputs_.button) {
      button_ms_ = 0;
    } else if (button_ms_ < UINT8_MAX) {
      ++button_ms_;
    }
  }

  void tick_armed() {
    if (!stopped(true) && --left_ms_ == 0) {
      hold(Reason::ARM_EXPIRED);
    }
  }

  void tick_permitted() {
    if (stopped(false)) {
      return;
    }
    if (button_ms_ >= wire::limit::BUTTON_DEBOUNCE_MS) {
      enter(State::RELEASING, Reason::RELEASED);
      catch_ = true;
      start_ = inputs_.position;
      elapsed_ms_ = 0;
    } else if (--left_ms_ == 0) {
      hold(Reason::PERMIT_EXPIRED);
    }
  }

  void tick_releasing() {
    if (lost()) {
      return;
    }
    ++elapsed_ms_;
    if (elapsed_ms_ == wire::limit::CATCH_LEAD_MS) {
      latch_ = true;
    }
    constexpr int16_t enough = wire::limit::DROPPED_COUNTS;
    const int16_t dropped = difference(start_, inputs_.position);
    if (dropped >= enough) {
      latch_ = false;
      enter(State::FLIGHT, Reason::RELEASED);
      lowest_ = inputs_.position;
      elapsed_ms_ = 0;
    } else if (dropped <= -enough) {
      trip(Reason::ENCODER_BACKWARDS);
    } else if (elapsed_ms_ >= wire::limit::CATCH_LEAD_MS + wire::limit::LATCH_LIMIT_MS) {
      hold(Reason::NO_RELEASE);
    }
  }

  void tick_flight() {
    if (lost()) {
      return;
    }
    ++elapsed_ms_;
    const int16_t risen = difference(inputs_.position, lowest_);
    if (risen < 0) {
      lowest_ = inputs_.position;
    } else if (risen > 0) {
      hold(Reason::REVERSED);
    } else if (elapsed_ms_ >= wire::limit::FLIGHT_LIMIT_MS) {
      hold(Reason::FLIGHT_TIMEOUT);
    }
  }

  // Guard or host gone while the carriage may be on its way.
  bool lost() {
    if (!inputs_.guard) {
      trip(Reason::GUARD_OPEN);
    } else if (beat_lost()) {
      trip(Reason::BEAT_LOST);
    }
    return state_ == State::TRIPPED;
  }

  bool stopped(bool with_button) {
    const uint8_t mask = failing(with_button, low_, high_);
    if (mask) {
      hold_or_trip(first_of(mask).reason);
    }
    return mask != 0;
  }

  void hold_or_trip(Reason reason) {
    if (reason <= Reason::BEAT_LOST) {  // guard, e-stop, beat
      trip(reason);
    } else {
      hold(reason);
    }
  }

  void hold(Reason reason) {
    all_off();
    enter(State::HELD, reason);
  }

  void all_off() {
    latch_ = false;
    catch_ = false;
    nonce_ = 0;
  }

  void enter(State state, Reason reason) {
    state_ = state;
    reason_ = reason;
  }

  uint8_t failing(bool with_button, int16_t low, int16_t high) const {
    const bool outside = inputs_.position < low || inputs_.position > high;
    uint8_t mask = 0;
    if (!inputs_.guard) mask |= small_bit(Reason::GUARD_OPEN);
    if (!inputs_.estop) mask |= small_bit(Reason::ESTOP_OPEN);
    if (beat_lost()) mask |= small_bit(Reason::BEAT_LOST);
    if (outside) mask |= small_bit(Reason::OUTSIDE_WINDOW);
    if (steady_ms_ < wire::limit::STEADY_MS) mask |= small_bit(Reason::NOT_STEADY);
    if (with_button && button_ms_ > 0) mask |= small_bit(Reason::BUTTON_HELD);
    return mask;
  }

  uint32_t unclearable() const {
    uint32_t mask = 0;
    if (!inputs_.guard) mask |= bit(Reason::GUARD_OPEN);
    if (!inputs_.estop) mask |= bit(Reason::ESTOP_OPEN);
    if (button_ms_ > 0) mask |= bit(Reason::BUTTON_HELD);
    if (!guard_opened_) mask |= bit(Reason::GUARD_NOT_CYCLED);
    return mask;
  }

  Answer judge_arm(int16_t low, int16_t high) const {
    if (state_ == State::TRIPPED) {
      return refusal(Reason::TRIPPED);
    }
    if (state_ == State::RELEASING || state_ == State::FLIGHT) {
      return refusal(Reason::BUSY);
    }
    if (low >= high) {
      return refusal(Reason::BAD_WINDOW);
    }
    return first_of(failing(true, low, high));
  }

  bool lamp_lit() const {
    switch (state_) {
      case State::HELD: return false;
      case State::ARMED: return blink_slow_ < ARMED_BLINK_MS / 2;
      case State::TRIPPED: return blink_fast_ < TRIPPED_BLINK_MS / 2;
      case State::PERMITTED:
      case State::RELEASING:
      case State::FLIGHT: break;
    }
    return true;
  }

  // Until the first tick guard and e-stop are taken to be open.
  Inputs inputs_ = {false, false, false, 0};
  State state_ = State::HELD;
  Reason reason_ = Reason::NONE;
  bool latch_ = false;
  bool catch_ = false;
  bool lamp_ = false;
  bool started_ = false;
  bool guard_opened_ = false;
  uint8_t button_ms_ = 0;
  uint16_t beat_age_ = BEAT_AGE_MAX_MS;
  uint16_t steady_ms_ = 0;
  uint16_t left_ms_ = 0;     // of ARMED or PERMITTED
  uint16_t elapsed_ms_ = 0;  // of RELEASING or FLIGHT
  uint16_t blink_slow_ = 0;
  uint16_t blink_fast_ = 0;
  uint32_t nonce_ = 0;
  int16_t reference_ = 0;
  int16_t low_ = 0;
  int16_t high_ = 0;
  int16_t start_ = 0;
  int16_t lowest_ = 0;
};
