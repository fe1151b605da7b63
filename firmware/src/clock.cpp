#include "clock.hpp"

static_assert(F_CPU / 8 == wire::TICK_HZ, "Timer 1 at the eighth of the clock is the tick");

namespace clock {
volatile uint16_t overflows;
volatile uint16_t milliseconds_count;

namespace {
constexpr uint8_t TIMER2_TOP = F_CPU / 64 / 1000 - 1;
static_assert((TIMER2_TOP + 1) * 64UL * 1000UL == F_CPU, "the 1 kHz beat is exact");
}  // namespace

void start() {
  TCCR1A = 0;
  TCCR1B = _BV(CS11);  // the gate adds its capture bits
  TIMSK1 = _BV(TOIE1);

  // Compare A samples the height, compare B runs the interlock half a millisecond later: two
  // short interrupts instead of one long one, with room for encoder edges between them.
  TCCR2A = _BV(WGM21);
  OCR2A = TIMER2_TOP;
  OCR2B = TIMER2_TOP / 2;
  TCCR2B = _BV(CS22);
  TIMSK2 = _BV(OCIE2A) | _BV(OCIE2B);
}
}  // namespace clock

ISR(TIMER1_OVF_vect) { clock::overflows = clock::overflows + 1; }
