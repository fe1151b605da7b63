// Start-up order and the main loop. Everything that must be on time happens in interrupts.
#include <avr/sleep.h>

#include "angle.hpp"
#include "boot.hpp"
#include "clock.hpp"
#include "commands.hpp"
#include "firmata.hpp"
#include "gate.hpp"
#include "height.hpp"
#include "inputs.hpp"
#include "link.hpp"
#include "load.hpp"
#include "pins.hpp"
#include "safety.hpp"
#include "switches.hpp"
#include "watchdog.hpp"

namespace {
Firmata<link::Messages, FreePins> free_pins;

// Parsed messages go to the commands or to the free pins.
struct Dispatch {
  void message(uint8_t status, uint8_t channel, uint8_t first, uint8_t second) {
    free_pins.message(status, channel, first, second);
    if (status == firmata::RESET) {
      height::stream(false);
      load::stream(false);
      angle::stream(false);
      switches::default_band();
      safety::disarm();
    }
  }
  void sysex(const uint8_t *bytes, uint8_t length) {
    if (bytes[0] == wire::COMMAND_SYSEX) {
      commands::handle(bytes, length);
    } else {
      free_pins.sysex(bytes, length);
    }
  }
  void broken(const uint8_t *bytes, uint8_t) {
    if (bytes[0] == wire::COMMAND_SYSEX) {
      link::count_damaged();
    }
  }
};

Dispatch dispatch;
FirmataParser<Dispatch> parser(dispatch);

void start() {
  inputs::start();
  switches::start();
  safety::start(boot::after_watchdog());  // outputs off before anything that takes time
  boot::count();
  clock::start();
  height::start();
  gate::start();
  load::start();
  angle::start();
  serial::start();
  free_pins.reset();
  commands::start(boot::number());
  watchdog::start();
  sei();
  free_pins.version();
  free_pins.firmware();
  link::send_hello();
}

// What has been received, while there is room to answer. Two commands or so at a time: a conversion
// of the bridge waits meanwhile, and the events.
void hear() {
  for (uint8_t left = 32; left && serial::available() && link::can_answer(); --left) {
    parser.feed(serial::receive());
  }
}

// Most interrupts leave nothing to do. The next millisecond bounds the wait.
void sleep_until_wanted(uint16_t polled_ms) {
  cli();
  while (!serial::available() && !load::ready() && !link::pending() &&
         clock::milliseconds_count == polled_ms) {
    sleep_enable();
    sei();  // takes effect after the next instruction, so no interrupt slips in between
    sleep_cpu();
    sleep_disable();
    cli();
  }
  sei();
}
}  // namespace

int main() {
  start();
  uint16_t polled_ms = clock::milliseconds();
  for (;;) {
    load::poll();
    link::send_events();
    if (link::answers_turn()) {
      hear();
    }
    link::send_pending();
    const uint16_t now = clock::milliseconds();
    if (now != polled_ms) {
      polled_ms = now;
      inputs::poll();
      switches::poll();
      load::watch(now);
      free_pins.poll(now);
    }
    watchdog::feed();
    sleep_until_wanted(polled_ms);
  }
}
