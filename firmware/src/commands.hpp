// The host's commands: judged, carried out, answered.
#pragma once
#include <stdint.h>

namespace commands {
void start(uint16_t boot);
void handle(const uint8_t *message, uint8_t length);  // a sysex message, id first
}  // namespace commands
