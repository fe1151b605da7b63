// What leaves the board: checked frames, numbered, and room kept free for answers.
#pragma once
#include "interlock.hpp"
#include "serial.hpp"

namespace link {
void send_hello();
void send_reply(const wire::CommandHead &command, const Answer &answer);

// Room for the answer to any one message; a received byte is only handled when it is there.
bool can_answer();
// Whether it is their turn: events go first. After a row of events answers have one turn, or a chattering contact could silence them.
bool answers_turn();

void send_events();   // before anything else, while they fit
// Samples and status: whatever is due and fits. They need less room than an answer waits for, and
// so get through however much is asked; and they come so seldom that answers do too.
void send_pending();
bool pending();       // samples or an event wait

void count_damaged();

// The way out of Firmata's answers and reports.
struct Messages : serial::Transmit {
  bool has_room(uint8_t bytes);  // beside that of an answer
};
}  // namespace link
