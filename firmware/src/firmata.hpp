// The Firmata subset: answers to queries, and the free pins.
//
// `Link` sends: put(byte), commit(), has_room(bytes).
// `Hardware` is the pins: configure(pin, mode), write(pin, level), read(pin),
// start_conversion(pin), conversion_done(), conversion().
#pragma once
#include "firmata_parser.hpp"
#include "flash.hpp"
#include "pin_map.hpp"

template <class Link, class Hardware>
class Firmata {
 public:
  // The longest answer (capabilities): the link must have this room before a message is fed.
  static constexpr uint8_t LONGEST_ANSWER = 3 + pins::COUNT + 2 * 6 + 1 * 2;

  void reset() {
    for (uint8_t pin = 0; pin < pins::COUNT; ++pin) {
      if (pins::is_free(pin)) {
        set_mode(pin, pins::INPUT);
      }
    }
    reported_ports_ = 0;
    analog_wanted_ = 0;
    analog_due_ = 0;
    interval_ms_ = DEFAULT_INTERVAL_MS;
  }

  void version() {
    link_.put(firmata::VERSION);
    link_.put(wire::FIRMATA_MAJOR);
    link_.put(wire::FIRMATA_MINOR);
    link_.commit();
  }

  void firmware() {
    begin(firmata::FIRMWARE);
    link_.put(wire::FIRMWARE_MAJOR);
    link_.put(wire::FIRMWARE_MINOR);
    text(PSTR(WIRE_FIRMWARE_NAME));
    end();
  }

  // All messages but sysex. RESET is acted on here as far as pins go.
  void message(uint8_t status, uint8_t channel, uint8_t first, uint8_t second) {
    switch (status) {
      case firmata::VERSION: version(); break;
      case firmata::RESET: reset(); break;
      case firmata::SET_PIN_MODE: request_mode(first, second); break;
      case firmata::SET_DIGITAL_PIN: request_level(first, second & 1); break;
      case firmata::DIGITAL:
        write_port(channel, static_cast<uint8_t>(first | second << 7));
        break;
      case firmata::REPORT_DIGITAL: report_port(channel, first); break;
      case firmata::REPORT_ANALOG: report_analog(channel, first); break;
      default: break;
    }
  }

  // `bytes[0]` is the id; ids we do not know are left unanswered, as the protocol has it.
  void sysex(const uint8_t *bytes, uint8_t length) {
    switch (bytes[0]) {
      case firmata::FIRMWARE: firmware(); break;
      case firmata::CAPABILITY_QUERY: capabilities(); break;
      case firmata::ANALOG_MAPPING_QUERY: analog_mapping(); break;
      case firmata::PIN_STATE_QUERY:
        if (length >= 2) pin_state(bytes[1]);
        break;
      case firmata::SAMPLING_INTERVAL:
        if (length >= 3) set_interval(static_cast<uint16_t>(bytes[1] | bytes[2] << 7));
        break;
      default: break;
    }
  }

  // Once a millisecond or less often: reports what has changed.
  void poll(uint16_t now_ms) {
    for (uint8_t port = 0; port < PORTS; ++port) {
      if (reported_ports_ & 1U << port) {
        const uint8_t levels = read_port(port);
        if (levels != reported_levels_[port] && link_.has_room(3)) {
          send_port(port, levels);
        }
      }
    }
    poll_analog(now_ms);
  }

 private:
  static constexpr uint8_t PORTS = 3;
  static constexpr uint16_t DEFAULT_INTERVAL_MS = 19;
  static constexpr uint8_t IDLE = 0xFF;

  void begin(uint8_t id) {
    link_.put(firmata::START_SYSEX);
    link_.put(id);
  }
  void end() {
    link_.put(firmata::END_SYSEX);
    link_.commit();
  }
  void letter(char c) {
    link_.put(static_cast<uint8_t>(c) & 0x7F);
    link_.put(static_cast<uint8_t>(c) >> 7);
  }
  void text(const char *in_flash) {
    while (const char c = flash_char(in_flash++)) {
      letter(c);
    }
  }
  void decimal(uint8_t number) {
    if (number >= 100) letter(static_cast<char>('0' + number / 100));
    if (number >= 10) letter(static_cast<char>('0' + number / 10 % 10));
    letter(static_cast<char>('0' + number % 10));
  }

  // "pin 9 is reserved", as a Firmata string.
  void refuse(uint8_t pin, const char *why_in_flash) {
    begin(firmata::STRING);
    text(PSTR("pin "));
    decimal(pin);
    text(why_in_flash);
    end();
  }
  bool permitted(uint8_t pin) {
    if (pins::is_free(pin)) {
      return true;
    }
    refuse(pin, pin < pins::COUNT ? PSTR(" is reserved") : PSTR(" does not exist"));
    return false;
  }

  void capabilities() {
    begin(firmata::CAPABILITY_RESPONSE);
    for (uint8_t pin = 0; pin < pins::COUNT; ++pin) {
      capability(pin, pins::INPUT, 1);
      capability(pin, pins::OUTPUT, 1);
      capability(pin, pins::PULLUP, 1);
      capability(pin, pins::ANALOG, 10);
      link_.put(pins::NO_MODE);
    }
    end();
  }
  void capability(uint8_t pin, uint8_t mode, uint8_t bits) {
    if (pins::offers(pin, mode)) {
      link_.put(mode);
      link_.put(bits);
    }
  }

  void analog_mapping() {
    begin(firmata::ANALOG_MAPPING_RESPONSE);
    for (uint8_t pin = 0; pin < pins::COUNT; ++pin) {
      link_.put(pins::is_analog(pin) ? pin - pins::FIRST_ANALOG : pins::NO_MODE);
    }
    end();
  }

  void pin_state(uint8_t pin) {
    if (!permitted(pin)) {
      return;
    }
    begin(firmata::PIN_STATE_RESPONSE);
    link_.put(pin);
    link_.put(mode_[pin]);
    link_.put(state_[pin]);
    end();
  }

  void request_mode(uint8_t pin, uint8_t mode) {
    if (!permitted(pin)) {
      return;
    }
    if (!pins::offers(pin, mode)) {
      refuse(pin, PSTR(" has no such mode"));
      return;
    }
    set_mode(pin, mode);
  }
  void set_mode(uint8_t pin, uint8_t mode) {
    mode_[pin] = mode;
    state_[pin] = mode == pins::PULLUP;  // the state of an input is its pull-up
    if (mode != pins::ANALOG && pins::is_analog(pin)) {
      analog_wanted_ &= static_cast<uint8_t>(~analog_bit(pin));
    }
    hardware_.configure(pin, mode);
  }

  void request_level(uint8_t pin, bool level) {
    if (permitted(pin)) {
      set_level(pin, level);
    }
  }
  void set_level(uint8_t pin, bool level) {
    if (mode_[pin] == pins::OUTPUT) {
      state_[pin] = level;
      hardware_.write(pin, level);
    }
  }

  // Hosts write whole ports, so bits of reserved pins are passed over without a word.
  void write_port(uint8_t port, uint8_t levels) {
    for (uint8_t bit = 0; bit < 8; ++bit) {
      const uint8_t pin = static_cast<uint8_t>(port * 8 + bit);
      if (pins::is_free(pin)) {
        set_level(pin, levels >> bit & 1);
      }
    }
  }

  uint8_t read_port(uint8_t port) {
    uint8_t levels = 0;
    for (uint8_t bit = 0; bit < 8; ++bit) {
      const uint8_t pin = static_cast<uint8_t>(port * 8 + bit);
      if (pins::is_free(pin) && (mode_[pin] == pins::INPUT || mode_[pin] == pins::PULLUP) &&
          hardware_.read(pin)) {
        levels |= static_cast<uint8_t>(1U << bit);
      }
    }
    return levels;
  }

  void report_port(uint8_t port, bool on) {
    if (port >= PORTS) {
      return;
    }
    const uint8_t bit = static_cast<uint8_t>(1U << port);
    if (on) {
      reported_ports_ |= bit;
      send_port(port, read_port(port));
    } else {
      reported_ports_ &= static_cast<uint8_t>(~bit);
    }
  }
  void send_port(uint8_t port, uint8_t levels) {
    reported_levels_[port] = levels;
    link_.put(static_cast<uint8_t>(firmata::DIGITAL | port));
    link_.put(levels & 0x7F);
    link_.put(levels >> 7);
    link_.commit();
  }

  static uint8_t analog_bit(uint8_t pin) {
    return static_cast<uint8_t>(1U << (pin - pins::FIRST_ANALOG));
  }

  // Asking for analog reports makes the pin an analog input: that is what hosts expect.
  void report_analog(uint8_t channel, bool on) {
    const uint8_t pin = static_cast<uint8_t>(channel + pins::FIRST_ANALOG);
    if (!permitted(pin)) {
      return;
    }
    if (on) {
      set_mode(pin, pins::ANALOG);
      analog_wanted_ |= analog_bit(pin);
    } else {
      analog_wanted_ &= static_cast<uint8_t>(~analog_bit(pin));
    }
  }

  void set_interval(uint16_t interval_ms) { interval_ms_ = interval_ms ? interval_ms : 1; }

  // One conversion at a time, so that the main loop never waits for the converter.
  void poll_analog(uint16_t now_ms) {
    if (static_cast<uint16_t>(now_ms - sampled_ms_) >= interval_ms_) {
      sampled_ms_ = now_ms;
      analog_due_ = analog_wanted_;
    }
    if (converting_ != IDLE) {
      if (!hardware_.conversion_done() || !link_.has_room(3)) {
        return;
      }
      send_analog(converting_, hardware_.conversion());
      converting_ = IDLE;
    }
    for (uint8_t pin = pins::FIRST_ANALOG; pin < pins::COUNT; ++pin) {
      if (analog_due_ & analog_wanted_ & analog_bit(pin)) {
        analog_due_ &= static_cast<uint8_t>(~analog_bit(pin));
        converting_ = pin;
        hardware_.start_conversion(pin);
        return;
      }
    }
  }
  void send_analog(uint8_t pin, uint16_t value) {
    link_.put(static_cast<uint8_t>(firmata::ANALOG | (pin - pins::FIRST_ANALOG)));
    link_.put(value & 0x7F);
    link_.put(static_cast<uint8_t>(value >> 7));
    link_.commit();
  }

  Link link_;
  Hardware hardware_;
  uint8_t mode_[pins::COUNT] = {};
  uint8_t state_[pins::COUNT] = {};
  uint8_t reported_levels_[PORTS] = {};
  uint8_t reported_ports_ = 0;
  uint8_t analog_wanted_ = 0;
  uint8_t analog_due_ = 0;
  uint8_t converting_ = IDLE;
  uint16_t interval_ms_ = DEFAULT_INTERVAL_MS;
  uint16_t sampled_ms_ = 0;
};
