// The free pins as hardware, for Firmata.
#pragma once
#include <stdint.h>

struct FreePins {
  void configure(uint8_t pin, uint8_t mode);
  void write(uint8_t pin, bool level);
  bool read(uint8_t pin);
  void start_conversion(uint8_t pin);
  bool conversion_done();
  uint16_t conversion();
};
