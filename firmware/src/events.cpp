#include "events.hpp"

namespace events {
namespace {
constexpr uint8_t SIZE = 16;
static_assert((SIZE & (SIZE - 1)) == 0, "a power of two");

Event queue[SIZE];
volatile uint8_t head;  // written with interrupts off
volatile uint8_t tail;  // written by the main loop
volatile uint8_t lost_count;

uint8_t after(uint8_t at) { return (at + 1) & (SIZE - 1); }
}  // namespace

void push_locked(const Event &event) {
  const uint8_t at = head;
  const uint8_t next = after(at);
  if (next == tail) {
    lost_count = lost_count + 1;
    return;
  }
  queue[at] = event;
  head = next;
}

bool empty() { return tail == head; }

Event pop() {
  const board::InterruptsOff lock;
  const Event event = queue[tail];
  tail = after(tail);
  return event;
}

uint8_t lost() { return lost_count; }
}  // namespace events
