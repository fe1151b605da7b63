// Light gate: both edges of the beam timed by Timer 1's input capture.
#pragma once

namespace gate {
void start();
bool blocked();
}  // namespace gate
