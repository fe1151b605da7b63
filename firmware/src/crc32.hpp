// CRC-32 of IEEE 802.3 (reflected polynomial 0xEDB88320, start and final inversion).
#pragma once
#include "flash.hpp"

// A nibble at a time: 64 bytes of table instead of 1,024, and still about 80 cycles a byte.
static const uint32_t CRC_NIBBLES[16] PROGMEM = {
    0x00000000UL, 0x1DB71064UL, 0x3B6E20C8UL, 0x26D930ACUL, 0x76DC4190UL, 0x6B6B51F4UL,
    0x4DB26158UL, 0x5005713CUL, 0xEDB88320UL, 0xF00F9344UL, 0xD6D6A3E8UL, 0xCB61B38CUL,
    0x9B64C2B0UL, 0x86D3D2D4UL, 0xA00AE278UL, 0xBDBDF21CUL};

class Crc32 {
 public:
  void add(uint8_t byte) {
    step(byte);
    step(static_cast<uint8_t>(byte >> 4));
  }
  uint32_t value() const { return ~register_; }

 private:
  void step(uint8_t nibble) {
    const uint8_t at = static_cast<uint8_t>((register_ ^ nibble) & 0x0F);
    register_ = flash_u32(CRC_NIBBLES + at) ^ (register_ >> 4);
  }

  uint32_t register_ = 0xFFFFFFFFUL;
};
