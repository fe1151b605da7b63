// What leaves the board: checked frames, numbered, and room kept free for answers.
#pragma once
#include "interlock.hpp"
#include "serial.hpp"

namespace link {
void send_hello();
void send_reply(const wire::CommandHead &command, const Answer &answer);

// Room for the answer to any one message; a received byte is only handled when it is there.
bool can_answer();
// Whether it is their turn: events go first. After a queueful of events in a row answers have one
// turn, or a chattering contact could silence them.
bool answers_turn();
// Samples and status leave the answers' room alone.
bool can_report(uint8_t bytes);

void send_events();   // before anything else, while they fit
void send_pending();  // samples and status: whatever is due and fits
bool pending();       // samples or an event wait

void count_damaged();

// The Firmata answers' way out.
struct Messages : serial::Transmit {
  bool has_room(uint8_t bytes) { return can_report(bytes); }
};
}  // namespace link
