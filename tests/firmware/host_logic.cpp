// The firmware's portable logic behind C functions, for the tests on the host.
#include <stddef.h>
#include <string.h>

#include "debounce.hpp"
#include "drive.hpp"
#include "firmata.hpp"
#include "framing.hpp"
#include "interlock.hpp"
#include "nonce.hpp"
#include "quadrature.hpp"
#include "stroke_load.hpp"

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

int stroke_frame(uint8_t *out, uint16_t seq, uint32_t time, int32_t mean, int32_t peak,
                 uint8_t verdict) {
  Bytes bytes = {out, 0};
  FrameWriter<Bytes> writer(bytes, wire::Kind::STROKE, seq, time);
  pack(writer, wire::StrokePayload{1, verdict, 16383, 4, mean, peak, 16383, 1});
  writer.finish();
  return bytes.length;
}

int counts_frame(uint8_t *out, uint16_t seq, uint32_t time, uint32_t counted, uint16_t stuck) {
  Bytes bytes = {out, 0};
  FrameWriter<Bytes> writer(bytes, wire::Kind::COUNTS, seq, time);
  pack(writer, wire::CountsPayload{counted, 1, 2, 3, 4, 5, stuck, 7, 8, 9, counted});
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
  } else if (command.head.op == static_cast<uint8_t>(wire::Op::STROKES)) {
    wire::StrokesCommand band;
    unpack(in, band);
    out[3] = band.min_ms;
    out[4] = band.max_ms;
  } else if (command.head.op == static_cast<uint8_t>(wire::Op::DRIVE_ARM)) {
    wire::DriveArmCommand arm;
    unpack(in, arm);
    out[3] = static_cast<int32_t>(arm.target);
  } else if (command.head.op == static_cast<uint8_t>(wire::Op::DRIVE_PERMIT)) {
    wire::DrivePermitCommand permit;
    unpack(in, permit);
    out[3] = static_cast<int32_t>(permit.nonce);
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

// -- strokes

extern "C" {
void *strokes_new(int near, int far) {
  Strokes *strokes = new Strokes;
  strokes->start(near != 0, far != 0);
  return strokes;
}
void strokes_free(void *s) { delete static_cast<Strokes *>(s); }
int strokes_band(void *s, uint16_t min_ms, uint16_t max_ms) {
  return static_cast<Strokes *>(s)->set_band(min_ms, max_ms);
}
void strokes_default_band(void *s) { static_cast<Strokes *>(s)->default_band(); }

// 1 and what was judged: verdict, time, number, out, back; the way out: left, end, number, on
static int judged(const Strokes &strokes, bool is, uint32_t *out) {
  if (!is) return 0;
  const JudgedStroke last = strokes.last();
  out[0] = static_cast<uint32_t>(last.verdict);
  out[1] = last.time;
  out[2] = last.number;
  out[3] = last.out_ms;
  out[4] = last.back_ms;
  out[5] = last.way.left_at;
  out[6] = last.way.end;
  out[7] = last.way.number;
  out[8] = last.way.under_way;
  return 1;
}
int strokes_tick(void *s, int near, int far, int moving, uint32_t now, uint32_t *out) {
  Strokes &strokes = *static_cast<Strokes *>(s);
  return judged(strokes, strokes.tick(near != 0, far != 0, moving != 0, now), out);
}

// Plays edges (time in ms, then the levels: bit 0 near closed, bit 1 far closed, bit 2 moving) and
// samples each whole millisecond in [from, until). Writes (ms, verdict, number) of each judgement;
// returns how many, at most `room`.
int strokes_play(void *s, const double *times, const uint8_t *levels, int edges, uint32_t from,
                 uint32_t until, uint32_t *out, int room) {
  Strokes &strokes = *static_cast<Strokes *>(s);
  int judgements = 0;
  int at = 0;
  for (uint32_t ms = from; ms < until; ++ms) {
    while (at + 1 < edges && times[at + 1] <= ms) ++at;
    const uint8_t level = levels[at];
    if (strokes.tick(level & 1, level & 2, level & 4, ms) && judgements < room) {
      out[3 * judgements] = ms;
      out[3 * judgements + 1] = static_cast<uint32_t>(strokes.last().verdict);
      out[3 * judgements + 2] = strokes.last().number;
      ++judgements;
    }
  }
  return judgements;
}

// near, far, their changes (1, time; else 0, 0), ends, faults, counted, six totals of rejects,
// the way out now: left, end (0 while it is under way), number, on
void strokes_look(void *s, uint32_t *out) {
  const Strokes &strokes = *static_cast<Strokes *>(s);
  out[0] = strokes.near();
  out[1] = strokes.far();
  out[2] = strokes.near_changed();
  out[3] = strokes.near_changed() ? strokes.near_changed_at() : 0;
  out[4] = strokes.far_changed();
  out[5] = strokes.far_changed() ? strokes.far_changed_at() : 0;
  out[6] = strokes.ends();
  out[7] = strokes.faults();
  out[8] = strokes.counted();
  for (uint8_t kind = 1; kind < Strokes::KINDS; ++kind) {
    out[8 + kind] = strokes.total(static_cast<wire::Stroke>(kind));
  }
  out[15] = strokes.way_out().left_at;
  out[16] = strokes.way_out().end;
  out[17] = strokes.way_out().number;
  out[18] = strokes.way_out().under_way;
}

static WayOut way_of(const uint32_t *way) {
  return {way[0], way[1], static_cast<uint8_t>(way[2]), way[3] != 0};
}
void *stroke_load_new() { return new StrokeLoad; }
void stroke_load_free(void *l) { delete static_cast<StrokeLoad *>(l); }
void stroke_load_add(void *l, uint32_t time, int32_t code, const uint32_t *way) {
  static_cast<StrokeLoad *>(l)->add(time, static_cast<uint32_t>(code), way_of(way));
}
void stroke_load_settle(void *l, uint32_t now, const uint32_t *way) {
  static_cast<StrokeLoad *>(l)->settle(now, way_of(way));
}
void stroke_load_take(void *l, const uint32_t *way, int32_t *out) {
  const LoadSummary all = static_cast<StrokeLoad *>(l)->take(way_of(way));
  out[0] = all.mean;
  out[1] = all.peak;
  out[2] = all.samples;
  out[3] = all.saturated;
}

// -- drive

// guard, estop, near, far, beat lost, button ms, interlock, counted, ends, faults
struct DriveInputs {
  const uint32_t *in;
  bool guard() const { return in[0] != 0; }
  bool estop() const { return in[1] != 0; }
  bool near() const { return in[2] != 0; }
  bool far() const { return in[3] != 0; }
  bool beat_lost() const { return in[4] != 0; }
  uint8_t button_ms() const { return static_cast<uint8_t>(in[5]); }
  wire::State interlock_state() const { return static_cast<wire::State>(in[6]); }
  uint32_t counted() const { return in[7]; }
  uint8_t ends() const { return static_cast<uint8_t>(in[8]); }
  uint8_t faults() const { return static_cast<uint8_t>(in[9]); }
};
void *drive_new() { return new Drive; }
void drive_free(void *d) { delete static_cast<Drive *>(d); }
void drive_tick(void *d, const uint32_t *in) { static_cast<Drive *>(d)->tick(DriveInputs{in}); }
void drive_stop(void *d, int reason, uint32_t counted) {
  static_cast<Drive *>(d)->stop(static_cast<wire::Reason>(reason), counted);
}
int drive_arm(void *d, uint32_t target, uint32_t nonce, const uint32_t *in, uint32_t *value) {
  const Answer answer = static_cast<Drive *>(d)->arm(target, nonce, DriveInputs{in});
  *value = answer.value;
  return static_cast<int>(answer.reason);
}
int drive_permit(void *d, uint32_t nonce, const uint32_t *in, uint32_t *value) {
  const Answer answer = static_cast<Drive *>(d)->permit(nonce, DriveInputs{in});
  *value = answer.value;
  return static_cast<int>(answer.reason);
}
// state, reason, running, lamp, target left
void drive_look(void *d, uint32_t counted, uint32_t *out) {
  const Drive &drive = *static_cast<Drive *>(d);
  out[0] = static_cast<uint32_t>(drive.state());
  out[1] = static_cast<uint32_t>(drive.reason());
  out[2] = drive.running();
  out[3] = drive.lamp();
  out[4] = drive.target_left(counted);
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
