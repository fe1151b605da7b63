// The firmware's portable logic behind C functions, for the tests on the host.
#include <stddef.h>
#include <string.h>

#include "debounce.hpp"
#include "firmata.hpp"
#include "framing.hpp"
#include "interlock.hpp"
#include "nonce.hpp"
#include "quadrature.hpp"

namespace {
struct Bytes {
  uint8_t *at;
  int length;
  void put(uint8_t byte) { at[length++] = byte; }
};
}  // namespace

extern "C" {

// -- framing

uint32_t crc_of(const uint8_t *data, int length) {
  Crc32 crc;
  for (int i = 0; i < length; ++i) crc.add(data[i]);
  return crc.value();
}

int hello_frame(uint8_t *out, uint16_t seq, uint32_t time, uint16_t boot, uint8_t cause) {
  Bytes bytes = {out, 0};
  FrameWriter<Bytes> writer(bytes, wire::Kind::HELLO, seq, time);
  pack(writer, wire::HelloPayload{wire::WIRE_VERSION, wire::FIRMWARE_MAJOR, wire::FIRMWARE_MINOR,
                                  wire::FIRMWARE_PATCH, wire::DESCRIPTION, boot, cause,
                                  wire::HEIGHT_PERIOD_TICKS});
  writer.finish();
  return bytes.length;
}

int reply_frame(uint8_t *out, uint16_t seq, uint32_t time, uint8_t op, uint16_t command_seq,
                uint8_t reason, uint32_t value) {
  Bytes bytes = {out, 0};
  FrameWriter<Bytes> writer(bytes, wire::Kind::REPLY, seq, time);
  pack(writer, wire::ReplyPayload{op, command_seq, reason, value});
  writer.finish();
  return bytes.length;
}

int event_frame(uint8_t *out, uint16_t seq, uint32_t time, uint8_t code, uint8_t value,
                uint8_t extra) {
  Bytes bytes = {out, 0};
  FrameWriter<Bytes> writer(bytes, wire::Kind::EVENT, seq, time);
  pack(writer, wire::EventPayload{code, value, extra});
  writer.finish();
  return bytes.length;
}

int status_frame(uint8_t *out, uint16_t seq, uint32_t time, int16_t height, uint16_t permit_left,
                 uint8_t illegal_edges) {
  Bytes bytes = {out, 0};
  FrameWriter<Bytes> writer(bytes, wire::Kind::STATUS, seq, time);
  pack(writer, wire::StatusPayload{1, 2, 3, 4, permit_left, 6, height, 7, 8, 9, 10, illegal_edges,
                                   12});
  writer.finish();
  return bytes.length;
}

int height_frame(uint8_t *out, uint16_t seq, uint32_t time, const int16_t *samples) {
  Bytes bytes = {out, 0};
  FrameWriter<Bytes> writer(bytes, wire::Kind::HEIGHT, seq, time);
  pack(writer, wire::HeightPrefix{5, 6});
  for (int i = 0; i < wire::HEIGHT_BLOCK; ++i) {
    writer.septets(static_cast<uint16_t>(samples[i]), wire::HEIGHT_SAMPLE_SEPTETS);
  }
  writer.finish();
  return bytes.length;
}

int load_frame(uint8_t *out, uint16_t seq, uint32_t time, uint32_t code) {
  Bytes bytes = {out, 0};
  FrameWriter<Bytes> writer(bytes, wire::Kind::LOAD, seq, time);
  pack(writer, wire::LoadPrefix{5, 6});
  writer.septets(code, wire::LOAD_SAMPLE_SEPTETS);
  writer.finish();
  return bytes.length;
}

int angle_frame(uint8_t *out, uint16_t seq, uint32_t time, const uint16_t *sums) {
  Bytes bytes = {out, 0};
  FrameWriter<Bytes> writer(bytes, wire::Kind::ANGLE, seq, time);
  pack(writer, wire::AnglePrefix{5});
  for (int i = 0; i < wire::ANGLE_BLOCK; ++i) {
    writer.septets(sums[i], wire::ANGLE_SAMPLE_SEPTETS);
  }
  writer.finish();
  return bytes.length;
}

int frame_width_of(int payload_width) { return frame_width(static_cast<uint8_t>(payload_width)); }

// A command as the firmware reads it: op, seq, width and up to two arguments; 0 when damaged.
int command_of(const uint8_t *message, int length, int32_t *out) {
  const Command command = read_command(message, static_cast<uint8_t>(length));
  if (!command.undamaged) return 0;
  out[0] = command.head.op;
  out[1] = command.head.seq;
  out[2] = command.width;
  SeptetReader in(command.arguments);
  if (command.head.op == static_cast<uint8_t>(wire::Op::ARM)) {
    wire::ArmCommand arm;
    unpack(in, arm);
    out[3] = arm.low;
    out[4] = arm.high;
  } else if (command.head.op == static_cast<uint8_t>(wire::Op::PERMIT)) {
    wire::PermitCommand permit;
    unpack(in, permit);
    out[3] = static_cast<int32_t>(permit.nonce);
  } else if (command.head.op == static_cast<uint8_t>(wire::Op::STREAM)) {
    wire::StreamCommand stream;
    unpack(in, stream);
    out[3] = stream.channel;
    out[4] = stream.on;
  }
  return 1;
}

// -- quadrature, debouncing, nonces

void *quadrature_new(uint8_t levels) {
  Quadrature *quadrature = new Quadrature;
  quadrature->start(levels);
  return quadrature;
}
void quadrature_free(void *q) { delete static_cast<Quadrature *>(q); }
void quadrature_edge(void *q, uint8_t levels) { static_cast<Quadrature *>(q)->edge(levels); }
int quadrature_position(void *q) { return static_cast<Quadrature *>(q)->position(); }
int quadrature_illegal(void *q) { return static_cast<Quadrature *>(q)->illegal(); }

// Runs a timeline of levels, one a millisecond; writes (time seen, level) of each believed change.
int debounce_timeline(const uint8_t *levels, int length, int32_t *out) {
  Debounce contact;
  contact.start(levels[0]);
  int changes = 0;
  for (int ms = 0; ms < length; ++ms) {
    if (contact.tick(levels[ms], static_cast<uint32_t>(ms))) {
      out[2 * changes] = static_cast<int32_t>(contact.changed_at());
      out[2 * changes + 1] = contact.level();
      ++changes;
    }
  }
  return changes;
}

void nonces(uint16_t boot, uint16_t start, uint32_t time, int count, uint32_t *out) {
  NonceSource source;
  source.start(boot, start);
  for (int i = 0; i < count; ++i) out[i] = source.next(time);
}

// -- interlock

void *interlock_new() { return new Interlock; }
void interlock_free(void *i) { delete static_cast<Interlock *>(i); }
void interlock_tick(void *i, int guard, int estop, int button, int position) {
  static_cast<Interlock *>(i)->tick(
      {guard != 0, estop != 0, button != 0, static_cast<int16_t>(position)});
}
void interlock_loop_open(void *i, int reason) {
  static_cast<Interlock *>(i)->loop_open(static_cast<wire::Reason>(reason));
}
void interlock_trip(void *i, int reason) {
  static_cast<Interlock *>(i)->trip(static_cast<wire::Reason>(reason));
}
int interlock_arm(void *i, int low, int high, uint32_t nonce, uint32_t *value) {
  const Answer answer = static_cast<Interlock *>(i)->arm(static_cast<int16_t>(low),
                                                         static_cast<int16_t>(high), nonce);
  *value = answer.value;
  return static_cast<int>(answer.reason);
}
int interlock_permit(void *i, uint32_t nonce, uint32_t *value) {
  const Answer answer = static_cast<Interlock *>(i)->permit(nonce);
  *value = answer.value;
  return static_cast<int>(answer.reason);
}
int interlock_clear(void *i, uint32_t *value) {
  const Answer answer = static_cast<Interlock *>(i)->clear();
  *value = answer.value;
  return static_cast<int>(answer.reason);
}
void interlock_beat(void *i) { static_cast<Interlock *>(i)->beat(); }
void interlock_disarm(void *i) { static_cast<Interlock *>(i)->disarm(); }
// state, reason, latch, catch, lamp, beat age, permit left
void interlock_look(void *i, int32_t *out) {
  const Interlock &interlock = *static_cast<Interlock *>(i);
  out[0] = static_cast<int32_t>(interlock.state());
  out[1] = static_cast<int32_t>(interlock.reason());
  out[2] = interlock.latch();
  out[3] = interlock.catch_open();
  out[4] = interlock.lamp();
  out[5] = interlock.beat_age_ms();
  out[6] = interlock.permit_left_ms();
}
}

// -- Firmata, on pins of memory

namespace {
struct Desk {
  uint8_t sent[4096];
  int sent_length;
  uint8_t log[4096];  // what the hardware was told: 'm' pin mode, 'w' pin level, 'c' pin
  int log_length;
  uint8_t levels[pins::COUNT];
  uint16_t analog[pins::COUNT];
  uint8_t converting;
  uint8_t room;
};
Desk desk;

struct Link {
  void put(uint8_t byte) { desk.sent[desk.sent_length++] = byte; }
  void commit() {}
  bool has_room(uint8_t bytes) { return desk.room >= bytes; }
};

void note(uint8_t what, uint8_t pin, uint8_t value) {
  desk.log[desk.log_length++] = what;
  desk.log[desk.log_length++] = pin;
  desk.log[desk.log_length++] = value;
}

struct Pins {
  void configure(uint8_t pin, uint8_t mode) { note('m', pin, mode); }
  void write(uint8_t pin, bool level) { note('w', pin, level); }
  bool read(uint8_t pin) { return desk.levels[pin]; }
  void start_conversion(uint8_t pin) {
    note('c', pin, 0);
    desk.converting = pin;
  }
  bool conversion_done() { return true; }
  uint16_t conversion() { return desk.analog[desk.converting]; }
};

using Subject = Firmata<Link, Pins>;

struct Board {
  Subject firmata;
  uint8_t last_sysex[64];
  int sysex_length = 0;
  int broken = 0;
  void message(uint8_t status, uint8_t channel, uint8_t first, uint8_t second) {
    firmata.message(status, channel, first, second);
  }
  void sysex(const uint8_t *bytes, uint8_t length) {
    memcpy(last_sysex, bytes, length);
    sysex_length = length;
    firmata.sysex(bytes, length);
  }
  void broken_sysex(const uint8_t *, uint8_t) { ++broken; }
};

struct Handler {
  Board *board;
  void message(uint8_t s, uint8_t c, uint8_t a, uint8_t b) { board->message(s, c, a, b); }
  void sysex(const uint8_t *bytes, uint8_t n) { board->sysex(bytes, n); }
  void broken(const uint8_t *bytes, uint8_t n) { board->broken_sysex(bytes, n); }
};

struct Bench {
  Board board;
  Handler handler;
  FirmataParser<Handler> parser;
  Bench() : handler{&board}, parser(handler) {}
};
}  // namespace

extern "C" {
void *firmata_new() {
  memset(&desk, 0, sizeof desk);
  desk.room = 255;
  Bench *bench = new Bench;
  bench->board.firmata.reset();
  desk.log_length = 0;
  return bench;
}
void firmata_free(void *b) { delete static_cast<Bench *>(b); }
void firmata_feed(void *b, const uint8_t *bytes, int length) {
  for (int i = 0; i < length; ++i) static_cast<Bench *>(b)->parser.feed(bytes[i]);
}
void firmata_poll(void *b, uint16_t now_ms) { static_cast<Bench *>(b)->board.firmata.poll(now_ms); }
int firmata_sent(uint8_t *out) {
  memcpy(out, desk.sent, static_cast<size_t>(desk.sent_length));
  const int length = desk.sent_length;
  desk.sent_length = 0;
  return length;
}
int firmata_log(uint8_t *out) {
  memcpy(out, desk.log, static_cast<size_t>(desk.log_length));
  const int length = desk.log_length;
  desk.log_length = 0;
  return length;
}
void firmata_level(int pin, int level) { desk.levels[pin] = static_cast<uint8_t>(level); }
void firmata_analog(int pin, int value) { desk.analog[pin] = static_cast<uint16_t>(value); }
void firmata_room(int room) { desk.room = static_cast<uint8_t>(room); }
int firmata_broken(void *b) { return static_cast<Bench *>(b)->board.broken; }
int firmata_last_sysex(void *b, uint8_t *out) {
  Board &board = static_cast<Bench *>(b)->board;
  memcpy(out, board.last_sysex, static_cast<size_t>(board.sysex_length));
  return board.sysex_length;
}
int firmata_longest_answer() { return Subject::LONGEST_ANSWER; }
}
