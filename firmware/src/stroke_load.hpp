// Mean and peak of the load on a stroke's way out, and which conversions belong to it.
//
// Pure logic. An end of the way is believed SWITCH_STABLE_MS after it was, so a conversion is held
// back until it is certain where the carriage stood then; conversions are farther apart than that.
// The stand-in has the same in rig/virtual/board/stroke_load.py; a randomised test holds them equal.
#pragma once
#include "strokes.hpp"

struct LoadSummary {
  int32_t mean;      // rounded down
  int32_t peak;      // the code farthest from the first
  uint16_t samples;  // of both
  bool saturated;    // some were left out
};

class StrokeLoad {
 public:
  static constexpr uint32_t CERTAIN_TICKS =
      (wire::limit::SWITCH_STABLE_MS + 2UL) * (wire::TICK_HZ / 1000);

  // A conversion: its time and its 24 bits.
  void add(uint32_t time, uint32_t code, const WayOut &way) {
    if (held_) {
      place(way);
    }
    held_ = true;
    held_time_ = time;
    held_code_ = code & 0xFFFFFFUL;
  }

  // From time to time: places the conversion held back, once that is certain.
  void settle(uint32_t now, const WayOut &way) {
    if (held_ && now - held_time_ >= CERTAIN_TICKS) {
      place(way);
    }
  }

  // All of a way out that is over; ask once for each.
  LoadSummary take(const WayOut &way) {
    if (held_ && within(way)) {
      place(way);
    }
    const LoadSummary none = {0, 0, 0, false};
    if (way.number != number_) {
      return none;
    }
    const LoadSummary all = {mean(), peak_, samples_, saturated_};
    clear();
    return all;
  }

 private:
  static constexpr uint32_t HIGHEST = 0x7FFFFF, LOWEST = 0x800000;
  static constexpr uint16_t MOST = 0x3FFF;

  static int32_t magnitude(int32_t value) { return value < 0 ? -value : value; }
  static bool from(uint32_t begin, uint32_t time) {
    return static_cast<int32_t>(time - begin) >= 0;
  }

  bool within(const WayOut &way) const {
    return from(way.left_at, held_time_) && (way.under_way || !from(way.end, held_time_));
  }

  void place(const WayOut &way) {
    held_ = false;
    if (!within(way)) {
      return;
    }
    if (way.number != number_) {
      clear();
      number_ = way.number;
    }
    if (held_code_ == HIGHEST || held_code_ == LOWEST) {
      saturated_ = true;
    } else if (samples_ < MOST) {
      include(held_code_ & LOWEST ? static_cast<int32_t>(held_code_) - 0x1000000L
                                  : static_cast<int32_t>(held_code_));
    }
  }

  // The sum of 16,383 codes of 24 bits needs 38: it is kept in two parts.
  void include(int32_t code) {
    if (samples_ == 0) {
      first_ = peak_ = code;
    } else if (magnitude(code - first_) > magnitude(peak_ - first_)) {
      peak_ = code;
    }
    const uint8_t low = static_cast<uint8_t>(code & 0xFF);
    low_ += low;
    high_ += (code - low) / 256;
    ++samples_;
  }

  int32_t mean() const {
    if (samples_ == 0) {
      return 0;
    }
    const int32_t count = samples_;
    int32_t whole = high_ / count;
    int32_t rest = high_ % count;
    if (rest < 0) {
      --whole;
      rest += count;
    }
    return whole * 256 + static_cast<int32_t>((static_cast<uint32_t>(rest) * 256 + low_) /
                                              samples_);
  }

  void clear() {
    samples_ = 0;
    saturated_ = false;
    high_ = first_ = peak_ = 0;
    low_ = 0;
  }

  uint32_t held_time_ = 0;
  uint32_t held_code_ = 0;
  int32_t first_ = 0;
  int32_t peak_ = 0;
  int32_t high_ = 0;
  uint32_t low_ = 0;
  uint16_t samples_ = 0;
  uint8_t number_ = 0;
  bool held_ = false;
  bool saturated_ = false;
};
