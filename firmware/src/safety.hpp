// Owns the interlocks of drop and drive: brings them their inputs, and their decisions to the
// outputs. While one is at work the other is refused.
#pragma once
#include "drive.hpp"

namespace safety {
struct View {
  wire::State state;
  wire::Reason reason;
  uint16_t permit_left_ms;
  uint16_t beat_age_ms;
};

struct DriveView {
  wire::DriveState state;
  wire::Reason reason;
  uint32_t target_left;
};

void start(bool after_watchdog);
View view();
DriveView drive_view();

// The host's wishes; each is settled, outputs and all, before it returns.
Answer arm(int16_t low, int16_t high, uint32_t nonce);
Answer permit(uint32_t nonce);
Answer clear();
void disarm();  // both
Answer arm_drive(uint32_t target, uint32_t nonce);
Answer permit_drive(uint32_t nonce);
void stop_drive();
void beat();
}  // namespace safety
