#include "gate.hpp"

#include "clock.hpp"
#include "events.hpp"

namespace gate {
namespace {
// Wait for the edge that the present level leaves open. Following the level, rather than turning
// over at each edge, cannot get stuck the wrong way round after a spike.
void arm_capture() {
  bool high;
  do {
    high = blocked();
    if (high) {
      TCCR1B &= static_cast<uint8_t>(~_BV(ICES1));
    } else {
      TCCR1B |= _BV(ICES1);
    }
    // A change of edge may set the flag, so it is cleared after. Written, not or-ed: writing a
    // one clears a flag, and reading the others back as ones would clear a waiting overflow too.
    TIFR1 = _BV(ICF1);
  } while (blocked() != high);
}
}  // namespace

bool blocked() { return PINB & board::mask(wire::pin::GATE); }

void start() {
  TCCR1B |= _BV(ICNC1);  // noise canceller: four equal samples, 0.25 us
  arm_capture();
  TIMSK1 |= _BV(ICIE1);
}
}  // namespace gate

ISR(TIMER1_CAPT_vect) {
  const uint32_t time = clock::extend(ICR1);
  const uint8_t entered = TCCR1B & _BV(ICES1) ? 1 : 0;
  gate::arm_capture();
  events::push_locked({time, wire::Event::GATE, entered, 0});
}
