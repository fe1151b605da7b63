// What leaves the board: checked frames, numbered, and room kept free for answers.
#pragma once
#include "interlock.hpp"
#include "serial.hpp"

namespace link {
void send_hello();
void send_reply(const wire::CommandHead &command, const Answer &answer);

// Room for the answer to any one message; a received byte is only handled when it is there.
bool can_answer();
// Telemetry leaves that room alone, so a flood of events cannot silence the answers.
bool can_report(uint8_t bytes);

void send_pending();  // height block, events, status: whatever is due and fits
bool pending();       // a block or an event waits

void count_damaged();

// The Firmata answers' way out.
struct Messages : serial::Transmit {
  bool has_room(uint8_t bytes) { return can_report(bytes); }
};
}  // namespace link
