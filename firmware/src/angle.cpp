#include "angle.hpp"

#include "clock.hpp"

namespace angle {
namespace {
constexpr uint8_t PER_MS = 8;
constexpr uint8_t CONVERSIONS = 64;  // of 10 bits: the sum fits 16 bits
static_assert(wire::ANGLE_PERIOD_TICKS ==
                  CONVERSIONS / PER_MS * (wire::TICK_HZ / 1000),
              "a sum takes 8 ms");

constexpr uint8_t AGAINST_SUPPLY = _BV(REFS0);  // the sensor is ratiometric
constexpr uint8_t OWN = AGAINST_SUPPLY | (wire::pin::ANGLE - 14);
// Converter clock 125 kHz, inside the 50 to 200 kHz that ten bits want: 104 us a conversion.
constexpr uint8_t ENABLED = _BV(ADEN) | _BV(ADIE) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
constexpr uint8_t ONE = ENABLED | _BV(ADSC);
constexpr uint8_t ENDLESS = ONE | _BV(ADATE);  // free running: each starts as the last one ends

enum Guest : uint8_t { ABSENT, WAITING, CONVERTING };

Block blocks[2];
// Shared with the interrupts; `ready` says that blocks[1 - filling] belongs to the main loop.
volatile bool streaming;
volatile bool ready;
volatile uint8_t filling;
volatile uint8_t used;        // sums in the block
volatile uint8_t summed_ms;   // milliseconds in the sum
volatile uint16_t sum;
volatile uint8_t left;        // conversions still to come of this millisecond
volatile bool counts;         // they belong to the stream as it is now
volatile bool busy;           // the converter runs
volatile bool due;            // a beat came while it did
volatile uint8_t missed_samples_count;
volatile uint8_t missed_blocks_count;
volatile uint8_t guest;
volatile uint8_t guest_channel;
volatile uint16_t guest_value;

inline void begin_locked() {
  busy = true;
  if (!streaming) {
    guest = CONVERTING;
    ADMUX = AGAINST_SUPPLY | guest_channel;
    ADCSRA = ONE;
    return;
  }
  left = PER_MS;
  counts = true;
  ADMUX = OWN;
  ADCSRA = ENDLESS;
  if (summed_ms == 0) {
    sum = 0;
    if (used == 0) {
      blocks[filling].time = clock::now_locked();
    }
  }
}

inline void store_locked() {
  uint8_t at = used;
  blocks[filling].sums[at] = sum;
  if (++at == wire::ANGLE_BLOCK) {
    at = 0;
    if (ready) {  // the main loop still holds the other block: this one is written over
      missed_samples_count = missed_samples_count + wire::ANGLE_BLOCK;
      missed_blocks_count = missed_blocks_count + 1;
    } else {
      ready = true;
      filling = 1 - filling;
    }
  }
  used = at;
}

inline void millisecond_over_locked() {
  const uint8_t ms = summed_ms + 1;
  if (ms < CONVERSIONS / PER_MS) {
    summed_ms = ms;
    return;
  }
  summed_ms = 0;
  store_locked();
}

inline void over_locked() {
  busy = false;
  if (due) {
    due = false;
    sample_locked();
  }
}

// What is written while a conversion runs holds for the next but this one has begun: the guest's
// channel must be set, or the end be told, while the last of our own is under way.
inline void own_locked(uint16_t value) {
  sum = sum + value;
  const uint8_t to_come = left - 1;
  left = to_come;
  if (to_come == 1) {
    if (guest == WAITING) {
      guest = CONVERTING;
      ADMUX = AGAINST_SUPPLY | guest_channel;
    } else {
      ADCSRA = ENABLED;
    }
  } else if (to_come == 0) {
    const bool last = guest != CONVERTING;
    if (!last) {
      ADCSRA = ENABLED;
    }
    if (counts) {
      millisecond_over_locked();
    }
    if (last) {
      over_locked();
    }
  }
}
}  // namespace

void start() { DIDR0 = _BV(wire::pin::ANGLE - 14); }  // its digital input is of no use

// Nine conversions take 936 us of a beat, eight for us and one for a guest: with the start's delay
// the end may pass the next beat, and then the next begins right behind it.
void sample_locked() {
  if (busy) {
    due = true;
  } else if (streaming || guest == WAITING) {
    begin_locked();
  }
}

void stream(bool on) {
  const board::InterruptsOff lock;
  if (on != streaming) {
    used = 0;
    summed_ms = 0;
    counts = false;
    ready = false;
    streaming = on;
  }
}

const Block *ready_block() { return ready ? &blocks[1 - filling] : nullptr; }
void release_block() { ready = false; }
uint8_t missed_samples() { return missed_samples_count; }
uint8_t missed_blocks() { return missed_blocks_count; }

void ask(uint8_t channel) {
  guest_channel = channel;
  guest = WAITING;
}
bool answered() { return guest == ABSENT; }
uint16_t answer() { return guest_value; }  // 16 bits that no interrupt writes once answered
}  // namespace angle

ISR(ADC_vect) {
  using namespace angle;
  const uint16_t value = ADC;
  if (left) {
    own_locked(value);
    return;
  }
  guest_value = value;
  guest = ABSENT;
  over_locked();
}
