#include "height.hpp"

#include "angle.hpp"
#include "clock.hpp"
#include "switches.hpp"
#include "watchdog.hpp"

namespace height {
Quadrature decoder;

namespace {
Block blocks[2];
// Shared with the sampler; `ready` says that blocks[1 - filling] belongs to the main loop.
volatile bool streaming;
volatile bool ready;
volatile uint8_t filling;
volatile uint8_t used;
volatile uint8_t missed_samples_count;
volatile uint8_t missed_blocks_count;

inline uint8_t encoder_levels() { return PIND >> wire::pin::ENCODER_A & 3; }
inline void on_edge() { decoder.edge(encoder_levels()); }
}  // namespace

void start() {
  decoder.start(encoder_levels());
  // Sense before enable: at the reset value (low level) a low line would interrupt for ever.
  EICRA = _BV(ISC00) | _BV(ISC10);
  EIFR = _BV(INTF0) | _BV(INTF1);
  EIMSK = _BV(INT0) | _BV(INT1);
}

int16_t position() {
  const board::InterruptsOff lock;
  return decoder.position();
}

uint8_t illegal_edges() { return decoder.illegal(); }
uint8_t missed_samples() { return missed_samples_count; }
uint8_t missed_blocks() { return missed_blocks_count; }

void stream(bool on) {
  const board::InterruptsOff lock;
  if (on != streaming) {
    used = 0;
    ready = false;
    streaming = on;
  }
}

const Block *ready_block() { return ready ? &blocks[1 - filling] : nullptr; }
void release_block() { ready = false; }
}  // namespace height

ISR(INT0_vect) { height::on_edge(); }
ISR(INT1_vect, ISR_ALIASOF(INT0_vect));

ISR(TIMER2_COMPA_vect) {
  using namespace height;
  clock::milliseconds_count = clock::milliseconds_count + 1;
  watchdog::mark_locked(watchdog::SAMPLER);
  angle::sample_locked();
  switches::sample_locked();
  if (!streaming) {
    return;
  }
  Block &block = blocks[filling];
  uint8_t at = used;
  if (at == 0) {
    block.time = clock::now_locked();
  }
  block.samples[at] = decoder.position();
  if (++at == wire::HEIGHT_BLOCK) {
    at = 0;
    if (ready) {  // the main loop still holds the other block: this one is written over
      missed_samples_count = missed_samples_count + wire::HEIGHT_BLOCK;
      missed_blocks_count = missed_blocks_count + 1;
    } else {
      ready = true;
      filling = 1 - filling;
    }
  }
  used = at;
}
