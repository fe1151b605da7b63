#include "watchdog.hpp"

#include <avr/wdt.h>

namespace watchdog {
volatile uint8_t seen;

static_assert(wire::limit::WATCHDOG_MS == 250, "WDTO_250MS below");

void start() { wdt_enable(WDTO_250MS); }

void feed() {
  const board::InterruptsOff lock;
  if (seen == (SAMPLER | INTERLOCK)) {
    seen = 0;
    wdt_reset();
  }
}
}  // namespace watchdog
