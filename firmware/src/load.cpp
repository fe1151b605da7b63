#include "load.hpp"

#include <util/delay.h>

#include "clock.hpp"
#include "events.hpp"
#include "switches.hpp"

namespace load {
namespace {
constexpr uint8_t DATA = board::mask(wire::pin::LOAD_DATA);
constexpr uint8_t CLOCK = board::mask(wire::pin::LOAD_CLOCK);
constexpr uint32_t LATE_TICKS = wire::limit::LOAD_READ_MS * (wire::TICK_HZ / 1000);

enum class Age : uint8_t { KNOWN, LATE, UNKNOWN };

// Shared with the pin change interrupt.
volatile bool is_ready;
volatile uint32_t ready_at;

// Main loop only.
bool streaming;
bool sure;  // that the next edge is a conversion's, not a wire's that makes contact again
wire::LoadFault fault;
uint8_t faults_count, discarded_count, lost_count;
uint16_t heard_ms;  // when the last conversion was read, or the watch began

constexpr uint8_t SIZE = 4;  // 50 ms of conversions
Reading queue[SIZE];
uint8_t first, used;

bool line_high() { return PINC & DATA; }

inline void note_ready_locked() {
  ready_at = clock::now_locked();
  is_ready = true;
  PCICR &= static_cast<uint8_t>(~_BV(PCIE1));  // what follows on the line are bits
}

// Wait for the next falling edge. The bits clocked out have set the flag, so it is cleared, and
// with it an edge that came meanwhile, which the level still shows.
void await_locked() {
  is_ready = false;
  PCIFR = _BV(PCIF1);
  PCICR |= _BV(PCIE1);
}

void tell(wire::LoadFault now) {
  if (now == fault) {
    return;
  }
  fault = now;
  if (now != wire::LoadFault::NONE) {
    ++faults_count;
  }
  const board::InterruptsOff lock;
  events::push_locked({clock::now_locked(), wire::Event::LOAD, static_cast<uint8_t>(now), 0});
}

// The clock must not stay high for 50 us (data sheet; from 60 us on the converter powers down),
// so no interrupt may come while it is high. While it is low all may, encoder first.
bool pulse() {
  const board::InterruptsOff lock;
  PORTC |= CLOCK;
  _delay_us(1);  // data is there after 0.1 us (data sheet)
  const bool level = line_high();
  PORTC &= static_cast<uint8_t>(~CLOCK);
  return level;
}

uint32_t clock_out() {
  uint32_t bits = 0;
  for (uint8_t i = 0; i < 24; ++i) {
    bits = bits << 1 | pulse();
  }
  return bits;
}

void keep(const Reading &reading) {
  switches::conversion(reading.time, reading.code);
  if (used == SIZE) {
    ++lost_count;
    return;
  }
  queue[(first + used) % SIZE] = reading;
  ++used;
}

// Clock one conversion out and judge it. False when the line stays low, and so can tell no edge.
bool read(Age age) {
  const Reading reading = {ready_at, clock_out()};
  bool released;
  {
    const board::InterruptsOff lock;
    released = pulse();  // the 25th: channel A, gain 128 for the next one
    await_locked();
    if (released && !line_high()) {
      note_ready_locked();  // within the microsecond since that pulse
    }
  }
  heard_ms = clock::milliseconds();
  const bool doubted = !sure || age == Age::UNKNOWN;
  sure = released;
  if (doubted) {
    return released;
  }
  if (!released || age == Age::LATE) {
    ++discarded_count;
    tell(released ? wire::LoadFault::LATE : wire::LoadFault::STUCK);
  } else {
    keep(reading);
    tell(wire::LoadFault::NONE);
  }
  return released;
}
}  // namespace

void start() {
  PORTC &= static_cast<uint8_t>(~CLOCK);
  DDRC |= CLOCK;
  PORTC |= DATA;  // pulled up: a converter that is not there reads as never ready
  PCMSK1 = DATA;
}

// Faults are watched while the channel streams, and told anew each time it begins: a rig without
// this jig has no converter, and nothing to say about it.
void stream(bool on) {
  if (on == streaming) {
    return;
  }
  streaming = on;
  used = 0;
  fault = wire::LoadFault::NONE;
  heard_ms = clock::milliseconds();
  if (!on) {
    const board::InterruptsOff lock;
    PCICR &= static_cast<uint8_t>(~_BV(PCIE1));
    is_ready = false;
    return;
  }
  {
    const board::InterruptsOff lock;
    await_locked();
  }
  sure = true;
  if (!line_high() && !is_ready) {
    read(Age::UNKNOWN);  // waiting since nobody knows when, perhaps replaced while it is read
  }
}

void poll() {
  if (is_ready) {
    read(clock::now() - ready_at > LATE_TICKS ? Age::LATE : Age::KNOWN);
  }
}

void watch(uint16_t now_ms) {
  if (!streaming || is_ready ||
      static_cast<uint16_t>(now_ms - heard_ms) < wire::limit::LOAD_SILENT_MS) {
    return;
  }
  heard_ms = now_ms;
  // A low line gives no edge: a conversion whose edge was missed, or a line that cannot rise.
  if (line_high()) {
    sure = false;
    tell(wire::LoadFault::MISSING);
  } else if (!read(Age::UNKNOWN)) {
    tell(wire::LoadFault::STUCK);
  }
}

bool ready() { return is_ready; }
const Reading *waiting() { return used ? &queue[first] : nullptr; }
void release() {
  first = (first + 1) % SIZE;
  --used;
}
uint8_t faults() { return faults_count; }
uint8_t discarded() { return discarded_count; }
uint8_t lost() { return lost_count; }
}  // namespace load

ISR(PCINT1_vect) {
  using namespace load;
  if (!line_high()) {
    note_ready_locked();
  }
}
