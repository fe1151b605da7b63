// Cuts the host's bytes into Firmata messages. Knows their shapes, not their meaning.
#pragma once
#include <stdint.h>

namespace firmata {
// Firmata protocol document, version 2.8.0.
constexpr uint8_t ANALOG = 0xE0, DIGITAL = 0x90, REPORT_ANALOG = 0xC0, REPORT_DIGITAL = 0xD0;
constexpr uint8_t SET_PIN_MODE = 0xF4, SET_DIGITAL_PIN = 0xF5, VERSION = 0xF9, RESET = 0xFF;
constexpr uint8_t START_SYSEX = 0xF0, END_SYSEX = 0xF7;
constexpr uint8_t ANALOG_MAPPING_QUERY = 0x69, ANALOG_MAPPING_RESPONSE = 0x6A;
constexpr uint8_t CAPABILITY_QUERY = 0x6B, CAPABILITY_RESPONSE = 0x6C;
constexpr uint8_t PIN_STATE_QUERY = 0x6D, PIN_STATE_RESPONSE = 0x6E;
constexpr uint8_t STRING = 0x71, FIRMWARE = 0x79, SAMPLING_INTERVAL = 0x7A;
}  // namespace firmata

// `Handler` has message(status, channel, first, second), sysex(bytes, length) and
// broken(bytes, length); bytes[0] is the sysex id.
template <class Handler>
class FirmataParser {
 public:
  explicit FirmataParser(Handler &handler) : handler_(handler) {}

  void feed(uint8_t byte) {
    if (byte < 0x80) {
      data(byte);
    } else if (in_sysex_ && byte == firmata::END_SYSEX) {
      end_sysex();
    } else {
      if (in_sysex_) {
        abandon();
      }
      status(byte);
    }
  }

 private:
  static constexpr uint8_t CAPACITY = 32;

  // Data bytes that follow a status byte.
  static uint8_t expected(uint8_t status) {
    switch (status) {
      case firmata::ANALOG:
      case firmata::DIGITAL:
      case firmata::SET_PIN_MODE:
      case firmata::SET_DIGITAL_PIN: return 2;
      case firmata::REPORT_ANALOG:
      case firmata::REPORT_DIGITAL: return 1;
      default: return 0;
    }
  }

  void status(uint8_t byte) {
    length_ = 0;
    wanted_ = 0;
    overflown_ = false;
    if (byte == firmata::START_SYSEX) {
      in_sysex_ = true;
      return;
    }
    status_ = byte < 0xF0 ? byte & 0xF0 : byte;
    channel_ = byte & 0x0F;
    wanted_ = expected(status_);
    if (status_ == firmata::VERSION || status_ == firmata::RESET) {
      handler_.message(status_, 0, 0, 0);
    }
  }

  void data(uint8_t byte) {
    if (in_sysex_) {
      if (length_ < CAPACITY) {
        bytes_[length_++] = byte;
      } else {
        overflown_ = true;
      }
    } else if (wanted_) {
      bytes_[length_++] = byte;
      if (length_ == wanted_) {
        handler_.message(status_, channel_, bytes_[0], wanted_ > 1 ? bytes_[1] : 0);
        wanted_ = 0;
      }
    }
  }

  void end_sysex() {
    if (overflown_) {
      abandon();
      return;
    }
    in_sysex_ = false;
    if (length_) {
      handler_.sysex(bytes_, length_);
    }
  }

  void abandon() {
    in_sysex_ = false;
    if (length_) {
      handler_.broken(bytes_, length_);
    }
  }

  Handler &handler_;
  uint8_t bytes_[CAPACITY];
  uint8_t length_ = 0;
  uint8_t status_ = 0;
  uint8_t channel_ = 0;
  uint8_t wanted_ = 0;
  bool in_sysex_ = false;
  bool overflown_ = false;
};
