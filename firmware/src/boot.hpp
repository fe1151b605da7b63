// What is known about this boot: its number and what caused it.
#pragma once
#include <stdint.h>

namespace boot {
void count();            // once at start: takes the next number from the EEPROM
uint16_t number();       // 14 bits
uint8_t reset_cause();   // low four bits of MCUSR
bool after_watchdog();
}  // namespace boot
