// Full strokes of the carriage, told apart from all that only looks like one.
//
// Pure logic: one `tick` each millisecond with the levels of the two end switches. A stroke is
// home, out, far, back, home; its durations are counted in the ticks at which levels are believed,
// all equally late. The stand-in has the same machine in rig/virtual/board/strokes.py; a randomised test
// holds them equal.
#pragma once
#include "debounce.hpp"
#include "wire.h"

// From near opening to far closing (or near, or both), in times of the first sample.
struct WayOut {
  uint32_t left_at;
  uint32_t end;    // only when not `under_way`
  uint8_t number;  // modulo 256
  bool under_way;
};

struct JudgedStroke {
  uint32_t time;    // at which near closed again, or the reject was decided
  uint32_t number;  // full strokes so far
  uint16_t out_ms;
  uint16_t back_ms;
  wire::Stroke verdict;
  WayOut way;
};

class Strokes {
  using Stroke = wire::Stroke;

 public:
  static constexpr uint8_t KINDS = 7;
  static constexpr uint16_t LONGEST_MS = 0x3FFF;  // what the wire has room for, and a band

  void start(bool near, bool far) {
    near_.start(near);
    far_.start(far);
    phase_ = near && !far ? Phase::HOME : Phase::UNKNOWN;
  }

  // Full strokes from near to far and back within this band count. False when it is empty.
  bool set_band(uint16_t min_ms, uint16_t max_ms) {
    if (min_ms >= max_ms) {
      return false;
    }
    min_ms_ = min_ms;
    max_ms_ = max_ms;
    return true;
  }
  void default_band() { set_band(wire::limit::STROKE_MIN_MS, wire::limit::STROKE_MAX_MS); }

  // Levels as closed contacts; `moving` while the drive runs. True when something was judged.
  bool tick(bool near, bool far, bool moving, uint32_t now) {
    return !idle_tick(near, far, moving) && busy_tick(near, far, moving, now);
  }

  // The first half of `tick`: all of it when no level changes and none gets too old. False else.
  bool idle_tick(bool near, bool far, bool moving) {
    if (elapsed_ms_ <= LONGEST_MS) {
      ++elapsed_ms_;
    }
    if (!near_.rests(near) || !far_.rests(far)) {
      return false;
    }
    if (!overdue(moving)) {
      closed_ms_ = 0;
    } else if (closed_ms_ == wire::limit::SWITCH_STUCK_MS - 1) {
      return false;
    } else if (closed_ms_ < wire::limit::SWITCH_STUCK_MS) {
      ++closed_ms_;
    }
    near_changed_ = far_changed_ = false;
    return true;
  }

  // The second half. Dear, so the board calls it apart.
  bool busy_tick(bool near, bool far, bool moving, uint32_t now) {
    near_changed_ = near_.tick(near, now);
    far_changed_ = far_.tick(far, now);
    if (near_changed_ || far_changed_) {
      closed_ms_ = 0;
      return changed();
    }
    return stayed(moving, now);
  }

  // Of the last tick.
  bool near_changed() const { return near_changed_; }
  bool far_changed() const { return far_changed_; }
  uint32_t near_changed_at() const { return near_.changed_at(); }
  uint32_t far_changed_at() const { return far_.changed_at(); }

  bool near() const { return near_.level(); }
  bool far() const { return far_.level(); }
  const WayOut &way_out() const { return way_; }  // the one now, or the last
  uint8_t ends() const { return ends_; }          // ends reached in turn, modulo 256
  uint8_t faults() const { return faults_; }      // of the switches, modulo 256
  uint32_t counted() const { return counted_; }
  uint16_t total(Stroke verdict) const { return totals_[static_cast<uint8_t>(verdict)]; }

  // What `tick` has just judged; good until the next change of a switch.
  JudgedStroke last() const {
    return {judged_at_, counted_, bounded(out_ms_), bounded(back_ms_), verdict_, way_};
  }

 private:
  enum class Phase : uint8_t { UNKNOWN, HOME, OUT, AT_FAR, BACK };

  // Openings come first: in a tick in which one opens and the other closes, both never were.
  bool changed() {
    if (near_changed_ && !near()) {
      leave();
    }
    if (far_changed_ && !far()) {
      leave_far();
    }
    const bool near_closed = near_changed_ && near();
    const bool far_closed = far_changed_ && far();
    if (near() && far()) {
      if (!near_closed && !far_closed) {
        return false;
      }
      const uint32_t time = near_closed ? near_.changed_at() : far_.changed_at();
      if (way_.under_way) {
        end_way_out(time);
      }
      phase_ = Phase::UNKNOWN;
      return judge(Stroke::BOTH_CLOSED, time);
    }
    return near_closed ? come_home() : far_closed && arrive();
  }

  void leave() {
    if (phase_ == Phase::HOME) {
      phase_ = Phase::OUT;
      elapsed_ms_ = 0;
      way_.left_at = near_.changed_at();
      way_.under_way = true;
      ++way_.number;
    }
  }

  void leave_far() {
    if (phase_ == Phase::AT_FAR) {
      phase_ = Phase::BACK;
    } else if (near()) {
      phase_ = Phase::HOME;  // both were closed, and near still is
    }
  }

  bool arrive() {
    if (phase_ == Phase::UNKNOWN) {
      return judge(Stroke::WRONG_ORDER, far_.changed_at());
    }
    if (phase_ == Phase::OUT) {
      end_way_out(far_.changed_at());
      ++ends_;
    }
    phase_ = Phase::AT_FAR;
    return false;
  }

  bool come_home() {
    const Phase before = phase_;
    phase_ = Phase::HOME;
    if (before == Phase::OUT) {
      end_way_out(near_.changed_at());
      return judge(Stroke::PARTIAL, near_.changed_at());
    }
    if (before != Phase::BACK) {
      return false;
    }
    ++ends_;
    const Stroke verdict = elapsed_ms_ < min_ms_   ? Stroke::TOO_FAST
                           : elapsed_ms_ > max_ms_ ? Stroke::TOO_SLOW
                                                   : Stroke::COUNTED;
    return judge(verdict, near_.changed_at());
  }

  void end_way_out(uint32_t time) {
    out_ms_ = elapsed_ms_;
    way_.end = time;
    way_.under_way = false;
  }

  // A switch is closed that ought to open soon.
  bool overdue(bool moving) const {
    return near() ? far() || moving : far() && moving;
  }

  bool stayed(bool moving, uint32_t now) {
    if (!overdue(moving)) {
      closed_ms_ = 0;
      return false;
    }
    if (closed_ms_ == wire::limit::SWITCH_STUCK_MS ||  // told already
        ++closed_ms_ < wire::limit::SWITCH_STUCK_MS) {
      return false;
    }
    phase_ = near() && !far() ? Phase::HOME : Phase::UNKNOWN;
    return judge(Stroke::STUCK, now);
  }

  static uint16_t bounded(uint16_t ms) { return ms < LONGEST_MS ? ms : LONGEST_MS; }

  bool judge(Stroke verdict, uint32_t time) {
    if (verdict == Stroke::COUNTED) {
      ++counted_;
    } else {
      ++totals_[static_cast<uint8_t>(verdict)];
    }
    if (verdict >= Stroke::BOTH_CLOSED) {
      ++faults_;
      out_ms_ = elapsed_ms_ = 0;  // of no stroke
    }
    back_ms_ = static_cast<uint16_t>(elapsed_ms_ - out_ms_);
    judged_at_ = time;
    verdict_ = verdict;
    return true;
  }

  DebounceFor<wire::limit::SWITCH_STABLE_MS> near_, far_;
  WayOut way_ = {0, 0, 0, false};
  uint32_t judged_at_ = 0;
  uint32_t counted_ = 0;
  uint16_t totals_[KINDS] = {};  // of the rejects
  uint16_t min_ms_ = wire::limit::STROKE_MIN_MS;
  uint16_t max_ms_ = wire::limit::STROKE_MAX_MS;
  uint16_t elapsed_ms_ = 0;  // since near opened
  uint16_t out_ms_ = 0;
  uint16_t back_ms_ = 0;
  uint16_t closed_ms_ = 0;  // of a switch that ought to have opened
  uint8_t ends_ = 0;
  uint8_t faults_ = 0;
  Stroke verdict_ = Stroke::COUNTED;
  Phase phase_ = Phase::UNKNOWN;
  bool near_changed_ = false;
  bool far_changed_ = false;
};
