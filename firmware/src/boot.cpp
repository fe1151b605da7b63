#include "boot.hpp"

#include <avr/eeprom.h>
#include <avr/io.h>
#include <avr/wdt.h>

namespace {
uint16_t EEMEM stored_number;
constexpr uint16_t NUMBER_MASK = 0x3FFF;  // HELLO has room for 14 bits
uint16_t current;
uint8_t cause __attribute__((section(".noinit")));  // set before memory is cleared

// A watchdog reset leaves the watchdog running at its shortest time; it must be stopped before
// the start-up code has cleared the memory.
void before_main() __attribute__((naked, used, section(".init3")));
void before_main() {
  cause = MCUSR;
  MCUSR = 0;
  wdt_disable();
}
}  // namespace

namespace boot {
void count() {
  // A blank EEPROM (all ones) makes the first boot number 0.
  current = static_cast<uint16_t>(eeprom_read_word(&stored_number) + 1) & NUMBER_MASK;
  eeprom_write_word(&stored_number, current);
}

uint16_t number() { return current; }
uint8_t reset_cause() { return cause & 0x0F; }
bool after_watchdog() { return cause & _BV(WDRF); }
}  // namespace boot
