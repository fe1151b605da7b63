#include "switches.hpp"

#include <util/delay.h>

#include "clock.hpp"
#include "events.hpp"
#include "outputs.hpp"

namespace switches {
Strokes strokes;

namespace {
constexpr uint8_t NEAR = board::mask(wire::pin::NEAR);
constexpr uint8_t FAR = board::mask(wire::pin::FAR);

constexpr uint8_t SIZE = 4;
Told queue[SIZE];
volatile uint8_t used;  // grown by the sampler
volatile uint8_t lost_count;
// Of what the samples found: bit 0 near changed, 1 far changed, 2 something was judged. One a sample
// is told, at the next, so that none takes long: the judged one first, while it is known.
uint8_t owed;

// Main loop only.
uint8_t first;
uint8_t complete;  // of those used, with their load
StrokeLoad load;

// Low is the closed contact.
inline bool near_closed() { return !(PIND & NEAR); }
inline bool far_closed() { return !(PINC & FAR); }

void keep_locked() {
  const uint8_t taken = used;
  if (taken == SIZE) {
    lost_count = lost_count + 1;
    return;
  }
  queue[(first + taken) % SIZE].stroke = strokes.last();
  used = taken + 1;
}

WayOut way_out() {
  const board::InterruptsOff lock;
  return strokes.way_out();
}

// The load of each stroke judged meanwhile, before anything of the next is added.
void complete_judged() {
  while (complete < used) {
    Told &told = queue[(first + complete) % SIZE];
    told.load = load.take(told.stroke.way);
    ++complete;
  }
}
__attribute__((noinline)) void tell_one_locked() {
  if (owed & 4) {
    owed &= 3;
    keep_locked();
  } else if (owed & 1) {
    owed &= 2;
    events::push_locked({strokes.near_changed_at(), wire::Event::NEAR, strokes.near(), 0});
  } else {
    owed = 0;
    events::push_locked({strokes.far_changed_at(), wire::Event::FAR, strokes.far(), 0});
  }
}

// Apart, so that the sampler saves few registers while nothing changes.
__attribute__((noinline)) void busy_sample_locked(bool near, bool far) {
  const bool judged = strokes.busy_tick(near, far, outputs::driving(), clock::now_locked());
  owed = static_cast<uint8_t>(owed | judged << 2 | strokes.far_changed() << 1 |
                              strokes.near_changed());
}
}  // namespace

void start() {
  PORTD |= NEAR;
  PORTC |= FAR;
  _delay_us(100);  // long wires are slow against the weak pull-ups
  strokes.start(near_closed(), far_closed());
}

void sample_locked() {
  const bool near = near_closed(), far = far_closed();
  if (owed) {
    tell_one_locked();
  }
  if (!strokes.idle_tick(near, far, outputs::driving())) {
    busy_sample_locked(near, far);
  }
}

void poll() {
  complete_judged();
  load.settle(clock::now(), way_out());
}

void conversion(uint32_t time, uint32_t code) {
  complete_judged();
  load.add(time, code, way_out());
}

bool set_band(uint16_t min_ms, uint16_t max_ms) {
  const board::InterruptsOff lock;
  return strokes.set_band(min_ms, max_ms);
}

void default_band() {
  const board::InterruptsOff lock;
  strokes.default_band();
}

Totals totals() {
  const board::InterruptsOff lock;
  Totals all = {strokes.counted(), {}, static_cast<uint8_t>(strokes.near() | strokes.far() << 1)};
  for (uint8_t kind = 0; kind < Strokes::KINDS; ++kind) {
    all.rejects[kind] = strokes.total(static_cast<wire::Stroke>(kind));
  }
  return all;
}

const Told *waiting() { return complete ? &queue[first] : nullptr; }

void release() {
  const board::InterruptsOff lock;
  first = (first + 1) % SIZE;
  --complete;
  used = used - 1;
}

uint8_t lost() { return lost_count; }
}  // namespace switches
