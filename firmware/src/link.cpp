#include "link.hpp"

#include "angle.hpp"
#include "boot.hpp"
#include "clock.hpp"
#include "events.hpp"
#include "firmata.hpp"
#include "framing.hpp"
#include "gate.hpp"
#include "height.hpp"
#include "inputs.hpp"
#include "load.hpp"
#include "outputs.hpp"
#include "safety.hpp"
#include "switches.hpp"

namespace link {
namespace {
using Writer = FrameWriter<serial::Transmit>;

constexpr uint8_t REPLY_WIDTH = frame_width(wire::ReplyPayload::WIDTH);
constexpr uint8_t ANSWER_ROOM = 96;
constexpr uint8_t IN_A_ROW = 8;  // events: 6 ms of the line, well within the 20 of a height block
static_assert(ANSWER_ROOM >= frame_width(wire::HelloPayload::WIDTH) + REPLY_WIDTH &&
                  ANSWER_ROOM >= Firmata<Messages, Messages>::LONGEST_ANSWER,
              "every answer fits the room kept for it");
static_assert(frame_width(wire::HEIGHT_PAYLOAD_WIDTH) < ANSWER_ROOM &&
                  frame_width(wire::LOAD_PAYLOAD_WIDTH) < ANSWER_ROOM &&
                  frame_width(wire::ANGLE_PAYLOAD_WIDTH) < ANSWER_ROOM &&
                  frame_width(wire::StatusPayload::WIDTH) < ANSWER_ROOM &&
                  frame_width(wire::StrokePayload::WIDTH) < ANSWER_ROOM &&
                  frame_width(wire::CountsPayload::WIDTH) < ANSWER_ROOM,
              "samples and status get their room before an answer does");
static_assert(ANSWER_ROOM < serial::TX_SIZE, "an answer gets its room in the end");

serial::Transmit transmit;
uint16_t next_seq;
uint8_t counted_losses;
uint8_t rx_damaged;
uint8_t events_in_a_row;  // since the answers' last turn
uint16_t status_ms;
uint16_t counts_ms;
bool counts_due;

// A frame that could not be sent uses its number up, so that the host sees the gap.
uint16_t take_seq() {
  const uint8_t losses = static_cast<uint8_t>(events::lost() + height::missed_blocks() +
                                              load::lost() + angle::missed_blocks() +
                                              switches::lost());
  const uint8_t fresh = static_cast<uint8_t>(losses - counted_losses);
  counted_losses = losses;
  const uint16_t seq = static_cast<uint16_t>(next_seq + fresh) & wire::SEQ_MASK;
  next_seq = static_cast<uint16_t>(seq + 1) & wire::SEQ_MASK;
  return seq;
}

bool fits(uint8_t payload_width) { return serial::room() >= frame_width(payload_width); }

template <class Payload>
void send(wire::Kind kind, uint32_t time, const Payload &payload) {
  Writer writer(transmit, kind, take_seq(), time);
  pack(writer, payload);
  writer.finish();
  transmit.commit();
}

void send_height(const height::Block &block) {
  Writer writer(transmit, wire::Kind::HEIGHT, take_seq(), block.time);
  pack(writer, wire::HeightPrefix{height::illegal_edges(), height::missed_samples()});
  for (uint8_t i = 0; i < wire::HEIGHT_BLOCK; ++i) {
    writer.septets(static_cast<uint16_t>(block.samples[i]), wire::HEIGHT_SAMPLE_SEPTETS);
  }
  writer.finish();
  transmit.commit();
}

void send_load(const load::Reading &reading) {
  Writer writer(transmit, wire::Kind::LOAD, take_seq(), reading.time);
  pack(writer, wire::LoadPrefix{load::faults(), load::discarded()});
  writer.septets(reading.code, wire::LOAD_SAMPLE_SEPTETS);
  writer.finish();
  transmit.commit();
}

void send_angle(const angle::Block &block) {
  Writer writer(transmit, wire::Kind::ANGLE, take_seq(), block.time);
  pack(writer, wire::AnglePrefix{angle::missed_samples()});
  for (uint8_t i = 0; i < wire::ANGLE_BLOCK; ++i) {
    writer.septets(block.sums[i], wire::ANGLE_SAMPLE_SEPTETS);
  }
  writer.finish();
  transmit.commit();
}

uint8_t input_bits() {
  const auto bit = [](bool set, wire::Input input) {
    return static_cast<uint8_t>(set ? 1U << static_cast<uint8_t>(input) : 0U);
  };
  const inputs::Contacts contacts = inputs::read();
  return bit(contacts.guard, wire::Input::GUARD) | bit(contacts.estop, wire::Input::ESTOP) |
         bit(contacts.button, wire::Input::BUTTON) | bit(gate::blocked(), wire::Input::GATE);
}

void send_status() {
  const safety::View view = safety::view();
  send(wire::Kind::STATUS, clock::now(),
       wire::StatusPayload{boot::number(), input_bits(), static_cast<uint8_t>(view.state),
                           static_cast<uint8_t>(view.reason), view.permit_left_ms,
                           view.beat_age_ms, height::position(), outputs::energised(),
                           serial::rx_dropped(), rx_damaged, events::lost(),
                           height::illegal_edges(), height::missed_samples()});
}

void send_stroke(const switches::Told &told) {
  send(wire::Kind::STROKE, told.stroke.time,
       wire::StrokePayload{told.stroke.number, static_cast<uint8_t>(told.stroke.verdict),
                           told.stroke.out_ms, told.stroke.back_ms, told.load.mean,
                           told.load.peak, told.load.samples, told.load.saturated});
}

void send_counts() {
  const switches::Totals totals = switches::totals();
  const safety::DriveView drive = safety::drive_view();
  send(wire::Kind::COUNTS, clock::now(),
       wire::CountsPayload{totals.counted, totals.of(wire::Stroke::PARTIAL),
                           totals.of(wire::Stroke::TOO_FAST), totals.of(wire::Stroke::TOO_SLOW),
                           totals.of(wire::Stroke::BOTH_CLOSED),
                           totals.of(wire::Stroke::WRONG_ORDER), totals.of(wire::Stroke::STUCK),
                           totals.switches, static_cast<uint8_t>(drive.state),
                           static_cast<uint8_t>(drive.reason), drive.target_left});
}

// Each judged motion, the totals right behind the last, and these by themselves now and then.
void send_strokes(uint16_t now) {
  while (switches::waiting() && fits(wire::StrokePayload::WIDTH)) {
    send_stroke(*switches::waiting());
    switches::release();
    counts_due = true;
  }
  if (static_cast<uint16_t>(now - counts_ms) >= wire::limit::COUNTS_PERIOD_MS) {
    counts_ms = static_cast<uint16_t>(counts_ms + wire::limit::COUNTS_PERIOD_MS);
    counts_due = true;
  }
  if (counts_due && fits(wire::CountsPayload::WIDTH)) {
    counts_due = false;
    send_counts();
  }
}
}  // namespace

void send_hello() {
  send(wire::Kind::HELLO, clock::now(),
       wire::HelloPayload{wire::WIRE_VERSION, wire::FIRMWARE_MAJOR, wire::FIRMWARE_MINOR,
                          wire::FIRMWARE_PATCH, wire::DESCRIPTION, boot::number(),
                          boot::reset_cause(), wire::HEIGHT_PERIOD_TICKS});
}

void send_reply(const wire::CommandHead &command, const Answer &answer) {
  send(wire::Kind::REPLY, clock::now(),
       wire::ReplyPayload{command.op, command.seq, static_cast<uint8_t>(answer.reason),
                          answer.value});
}

bool can_answer() { return serial::room() >= ANSWER_ROOM; }

bool answers_turn() {
  if (!can_answer() || (!events::empty() && events_in_a_row < IN_A_ROW)) {
    return false;
  }
  events_in_a_row = 0;
  return true;
}

bool Messages::has_room(uint8_t bytes) {
  return serial::room() >= static_cast<uint16_t>(ANSWER_ROOM) + bytes;
}

bool pending() {
  return !events::empty() || load::waiting() || height::ready_block() || angle::ready_block() ||
         switches::waiting();
}

void send_events() {
  while (!events::empty() && events_in_a_row < IN_A_ROW &&
         fits(wire::EventPayload::WIDTH)) {
    const events::Event event = events::pop();
    send(wire::Kind::EVENT, event.time,
         wire::EventPayload{static_cast<uint8_t>(event.code), event.value, event.extra});
    ++events_in_a_row;
  }
}

void send_pending() {
  while (load::waiting() && fits(wire::LOAD_PAYLOAD_WIDTH)) {
    send_load(*load::waiting());
    load::release();
  }
  if (const height::Block *block = height::ready_block()) {
    if (fits(wire::HEIGHT_PAYLOAD_WIDTH)) {
      send_height(*block);
      height::release_block();
    }
  }
  if (const angle::Block *block = angle::ready_block()) {
    if (fits(wire::ANGLE_PAYLOAD_WIDTH)) {
      send_angle(*block);
      angle::release_block();
    }
  }
  const uint16_t now = clock::milliseconds();
  send_strokes(now);
  if (static_cast<uint16_t>(now - status_ms) >= wire::limit::STATUS_PERIOD_MS &&
      fits(wire::StatusPayload::WIDTH)) {
    status_ms = now;
    send_status();
  }
}

void count_damaged() { ++rx_damaged; }
}  // namespace link
