// A contact believed once it has kept its level for the debounce time.
#pragma once
#include <stdint.h>

template <uint8_t STABLE_MS>
class DebounceFor {
 public:
  void start(bool level) {
    level_ = level;
    differing_ms_ = 0;
  }

  // Once a millisecond; true when the believed level has just changed. `now` is a time of any
  // unit; `changed_at()` gives the one at which the new level was first seen.
  bool tick(bool level, uint32_t now) {
    if (level == level_) {
      differing_ms_ = 0;
      return false;
    }
    if (differing_ms_ == 0) {
      changed_at_ = now;
    }
    if (++differing_ms_ < STABLE_MS) {
      return false;
    }
    level_ = level;
    differing_ms_ = 0;
    return true;
  }

  // A tick with this level would change nothing.
  bool rests(bool level) const { return level == level_ && differing_ms_ == 0; }

  bool level() const { return level_; }
  uint32_t changed_at() const { return changed_at_; }

 private:
  uint32_t changed_at_ = 0;
  uint8_t differing_ms_ = 0;
  bool level_ = false;
};

using Debounce = DebounceFor<5>;
