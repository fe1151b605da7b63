#include "commands.hpp"

#include "angle.hpp"
#include "clock.hpp"
#include "framing.hpp"
#include "height.hpp"
#include "link.hpp"
#include "load.hpp"
#include "nonce.hpp"
#include "safety.hpp"
#include "switches.hpp"

namespace commands {
namespace {
NonceSource nonces;

constexpr Answer DONE = {wire::Reason::NONE, 0};
constexpr Answer BAD = {wire::Reason::BAD_COMMAND,
                        1UL << static_cast<uint8_t>(wire::Reason::BAD_COMMAND)};

// True when the arguments have exactly the width of `Arguments`, which are then filled in.
template <class Arguments>
bool taken(const Command &command, Arguments &arguments) {
  if (command.width != Arguments::WIDTH) {
    return false;
  }
  SeptetReader in(command.arguments);
  unpack(in, arguments);
  return true;
}

Answer stream(const Command &command) {
  wire::StreamCommand wish;
  if (!taken(command, wish)) {
    return BAD;
  }
  switch (static_cast<wire::Kind>(wish.channel)) {
    case wire::Kind::HEIGHT: height::stream(wish.on); return DONE;
    case wire::Kind::LOAD: load::stream(wish.on); return DONE;
    case wire::Kind::ANGLE: angle::stream(wish.on); return DONE;
    default: return BAD;
  }
}

Answer arm(const Command &command) {
  wire::ArmCommand wish;
  return taken(command, wish) ? safety::arm(wish.low, wish.high, nonces.next(clock::now())) : BAD;
}

Answer permit(const Command &command) {
  wire::PermitCommand wish;
  return taken(command, wish) ? safety::permit(wish.nonce) : BAD;
}

Answer strokes(const Command &command) {
  wire::StrokesCommand wish;
  if (!taken(command, wish)) {
    return BAD;
  }
  constexpr Answer EMPTY = {wire::Reason::BAD_WINDOW,
                            1UL << static_cast<uint8_t>(wire::Reason::BAD_WINDOW)};
  return switches::set_band(wish.min_ms, wish.max_ms) ? DONE : EMPTY;
}

Answer arm_drive(const Command &command) {
  wire::DriveArmCommand wish;
  return taken(command, wish) ? safety::arm_drive(wish.target, nonces.next(clock::now())) : BAD;
}

Answer permit_drive(const Command &command) {
  wire::DrivePermitCommand wish;
  return taken(command, wish) ? safety::permit_drive(wish.nonce) : BAD;
}

Answer carry_out(const Command &command) {
  const bool bare = command.width == 0;
  switch (static_cast<wire::Op>(command.head.op)) {
    case wire::Op::HELLO:
      if (!bare) break;
      link::send_hello();
      return DONE;
    case wire::Op::BEAT:
      if (!bare) break;
      safety::beat();
      return DONE;
    case wire::Op::DISARM:
      if (!bare) break;
      safety::disarm();
      return DONE;
    case wire::Op::CLEAR:
      if (!bare) break;
      return safety::clear();
    case wire::Op::DRIVE_STOP:
      if (!bare) break;
      safety::stop_drive();
      return DONE;
    case wire::Op::STREAM: return stream(command);
    case wire::Op::ARM: return arm(command);
    case wire::Op::PERMIT: return permit(command);
    case wire::Op::STROKES: return strokes(command);
    case wire::Op::DRIVE_ARM: return arm_drive(command);
    case wire::Op::DRIVE_PERMIT: return permit_drive(command);
  }
  return BAD;
}
}  // namespace

void start(uint16_t boot) { nonces.start(boot, static_cast<uint16_t>(clock::now())); }

void handle(const uint8_t *message, uint8_t length) {
  const Command command = read_command(message, length);
  if (!command.undamaged) {
    link::count_damaged();
    return;
  }
  link::send_reply(command.head, carry_out(command));
}
}  // namespace commands
