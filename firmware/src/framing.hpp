// Checked frames to the host and checked commands from it, cut into septets (low seven first).
#pragma once
#include "crc32.hpp"
#include "wire.h"

constexpr uint8_t frame_width(uint8_t payload_width) {
  // start, sysex id, head, payload, check, end
  return static_cast<uint8_t>(3 + wire::FrameHead::WIDTH + payload_width + wire::CRC_SEPTETS);
}

// Writes one frame into `Sink` (anything with `put(uint8_t)`) and the check behind it.
template <class Sink>
class FrameWriter {
 public:
  FrameWriter(Sink &sink, wire::Kind kind, uint16_t seq, uint32_t time) : sink_(sink) {
    sink_.put(wire::START);
    checked(wire::FRAME_SYSEX);
    pack(*this, wire::FrameHead{static_cast<uint8_t>(kind), seq, time});
  }

  template <class Unsigned>
  void septets(Unsigned value, uint8_t count) {
    while (count--) {
      checked(static_cast<uint8_t>(value & 0x7F));
      value = static_cast<Unsigned>(value >> 7);
    }
  }

  void finish() {
    uint32_t check = crc_.value();
    for (uint8_t i = 0; i < wire::CRC_SEPTETS; ++i) {
      sink_.put(static_cast<uint8_t>(check & 0x7F));
      check >>= 7;
    }
    sink_.put(wire::END);
  }

 private:
  void checked(uint8_t byte) {
    crc_.add(byte);
    sink_.put(byte);
  }

  Sink &sink_;
  Crc32 crc_;
};

class SeptetReader {
 public:
  explicit SeptetReader(const uint8_t *at) : at_(at) {}
  uint32_t septets(uint8_t count) {
    uint32_t value = 0;
    for (uint8_t i = 0; i < count; ++i) {
      value |= static_cast<uint32_t>(*at_++) << (7 * i);
    }
    return value;
  }

 private:
  const uint8_t *at_;
};

struct Command {
  bool undamaged;
  wire::CommandHead head;
  const uint8_t *arguments;
  uint8_t width;  // septets of arguments
};

// Judge a sysex message (id first, no F0 and F7) that claims to be a command.
inline Command read_command(const uint8_t *message, uint8_t length) {
  Command command = {false, {0, 0}, message, 0};
  constexpr uint8_t overhead = 1 + wire::CommandHead::WIDTH + wire::CRC_SEPTETS;
  if (length < overhead) {
    return command;
  }
  const uint8_t covered = static_cast<uint8_t>(length - wire::CRC_SEPTETS);
  Crc32 crc;
  for (uint8_t i = 0; i < covered; ++i) {
    crc.add(message[i]);
  }
  // The top septet carries four bits; its other three must be clear to be undamaged.
  if (message[length - 1] > 0x0F ||
      SeptetReader(message + covered).septets(wire::CRC_SEPTETS) != crc.value()) {
    return command;
  }
  SeptetReader in(message + 1);
  unpack(in, command.head);
  command.arguments = message + 1 + wire::CommandHead::WIDTH;
  command.width = static_cast<uint8_t>(length - overhead);
  command.undamaged = true;
  return command;
}
