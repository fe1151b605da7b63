"""Does a board behave as the wire says? The same checks for stand-in, emulated and real boards.

Nothing here can release anything or start the drive: no check presses the button, and every permit
is refused, taken back or let run out of its conditions. Checks that would trip the interlock come
last. A check that could not be made (guard open, carriage moving, already tripped) counts as
trouble and says so; only of what is not fitted to this rig it is told, and held
against nobody.
"""

import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from rig.board import channel_checks as channels
from rig.board import stroke_checks as strokes
from rig.board import wire
from rig.board.link import Link, LinkError
from rig.board.samples import Happening
from rig.board.wire import DriveState, Event, Input, Op, Output, Reason, State

STAYED_OFF = "Neither latch nor catch nor drive was ever energised during these checks"
_NEVER = 1 << 27  # a nonce the board has not given


@dataclass(frozen=True)
class Finding:
    """One check's outcome; `trouble` is empty when the board did as the wire says.

    It is the reason why nothing can be said when what the check needs is not fitted.
    """

    claim: str
    trouble: str = ""

    @property
    def holds(self) -> bool:
        """Whether nothing stands against the board."""
        return not self.trouble or not self.fitted

    @property
    def fitted(self) -> bool:
        """Whether the rig has what the check needs; if not, the check was not made in full."""
        return not self.trouble.startswith(strokes.NOT_FITTED)


Check = Callable[[Link], str]


def run(link: Link) -> Iterator[Finding]:
    """Every check in order. A lost line ends the run with the finding that says so."""
    told: list[Happening] = []
    link.listeners.append(told.append)
    try:
        for check in CHECKS:
            yield Finding(_claim(check), check(link))
        yield Finding(STAYED_OFF, _energised(link, told))
    except LinkError as error:
        yield Finding("The line holds", str(error))
    finally:
        link.listeners.remove(told.append)


def _claim(check: Check) -> str:
    return (check.__doc__ or check.__name__).strip().rstrip(".")


def _energised(link: Link, told: list[Happening]) -> str:
    link.wait(0.25)
    solenoids = (Output.LATCH, Output.CATCH)
    on = {e.value for e in told if e.code is Event.OUTPUT and e.extra and e.value in solenoids}
    on |= {output for output in solenoids if link.status["outputs"] >> output & 1}
    names = [Output(output).name for output in sorted(on)]
    ran = any(e.code is Event.DRIVE and e.value == DriveState.RUNNING for e in told)
    return ", ".join(f"{name} was energised" for name in names + ["DRIVE"] * ran)


def _tells_who_it_is(link: Link) -> str:
    """The board tells name, versions and boot number."""
    hello = link.hello
    if hello is None:
        return "no HELLO came"
    if link.firmware != wire.FIRMWARE_NAME:
        return f"it calls itself '{link.firmware}'"
    return (
        ""
        if link.firmata_version == wire.FIRMATA_VERSION
        else (f"it speaks Firmata {link.firmata_version}")
    )


def _keeps_reserved_pins(link: Link) -> str:
    """Firmata offers the free pins and never the reserved ones."""
    layout = link._layout or {}
    offered = set(layout.get("digital", ())) - set(layout.get("disabled", ()))
    taken = offered & set(wire.PINS.values())
    return f"it offers pins {sorted(taken)}" if taken else ""


def _refuses_a_reserved_pin(link: Link) -> str:
    """Asking for a reserved pin is answered by a line of text and changes nothing."""
    link.strings.clear()
    pin = wire.PINS["LATCH"]
    link.sp.write(bytes([0xF4, pin, 1]))
    link.sp.write(bytes([0xF5, pin, 1]))
    link.wait_until(lambda: bool(link.strings), 0.5)
    link.wait(0.25)
    if not link.strings:
        return "no text came"
    return "the latch was energised" if link.status["outputs"] & 1 else ""


def _reports_status(link: Link) -> str:
    """STATUS comes ten times a second."""
    seen: set[int] = set()

    def look() -> bool:
        seen.add(link.status_ticks)
        return False

    link.wait_until(look, 1.05)
    count = len(seen - {0})
    return "" if 9 <= count <= 12 else f"{count} in a second"


def _counts_damaged(link: Link) -> str:
    """A damaged command is counted and not obeyed."""
    before = link.status["rx_damaged"]
    spoilt = bytearray(wire.command(Op.STREAM, 0, channel=wire.Kind.HEIGHT, on=1))
    spoilt[7] ^= 1
    link.sp.write(bytes(spoilt))
    link.wait(0.35)
    if (link.status["rx_damaged"] - before) % 128 != 1:
        return f"rx_damaged went from {before} to {link.status['rx_damaged']}"
    return ""


def _answers_unknown(link: Link) -> str:
    """A command with the wrong length is answered BAD_COMMAND."""
    body = bytes([wire.COMMAND_SYSEX]) + wire.pack(wire.COMMAND_HEAD, {"op": Op.STREAM, "seq": 9})
    sealed = bytes([wire.START]) + body + wire.septets(zlib.crc32(body), wire.CRC)
    link._replies.clear()
    link.sp.write(sealed + bytes([wire.END]))
    link.wait_until(lambda: 9 in link._replies, 0.5)
    reply = link._replies.get(9)
    if reply is None:
        return "no reply"
    return "" if reply.reason is Reason.BAD_COMMAND else f"it answered {reply.reason.name}"


def _keeps_time(link: Link) -> str:
    """The board's clock runs within 1 % of the host's."""
    link.exchanges.clear()
    link.wait(3.0)
    if len(link.exchanges) < 10:
        return f"only {len(link.exchanges)} heartbeats were answered in 3 s"
    first, last = link.exchanges[0], link.exchanges[-1]
    host_s = last.received_s - first.received_s
    board_s = (last.ticks - first.ticks) / wire.TICK_HZ
    return "" if abs(board_s / host_s - 1) < 0.01 else f"{board_s:.4f} s in {host_s:.4f} s"


def _refuses_unarmed(link: Link) -> str:
    """A permit without arming is refused."""
    reply = link.command(Op.PERMIT, nonce=_NEVER)
    return "" if reply.reason is Reason.NOT_ARMED else f"it answered {reply.reason.name}"


def _refuses_empty_window(link: Link) -> str:
    """Arming for an empty height band is refused."""
    reply = link.command(Op.ARM, low=5, high=5)
    return "" if reply.reason is Reason.BAD_WINDOW else f"it answered {reply.reason.name}"


def _refuses_outside(link: Link) -> str:
    """Arming away from the height band is refused, with every unmet condition named."""
    height = link.status["height"]
    low = height + 1000 if height < 20_000 else height - 2000
    reply = link.command(Op.ARM, low=low, high=low + 100)
    if reply.done:
        return "it was granted"
    wanted = {Reason.OUTSIDE_WINDOW}
    wanted |= set() if link.input(Input.GUARD) else {Reason.GUARD_OPEN}
    wanted |= set() if link.input(Input.ESTOP) else {Reason.ESTOP_OPEN}
    named = set(reply.unmet())
    return "" if wanted <= named else f"it named {sorted(r.name for r in named)}"


def _arm(link: Link) -> tuple[int, str]:
    """A nonce (never 0) for a band around the present height; else 0 and why there is none.

    A board may be right to refuse, but then the check was not made, and must not pass.
    """
    link.wait(wire.LIMITS["STEADY_MS"] / 1e3 + 0.2)
    height = link.status["height"]
    reply = link.command(Op.ARM, low=height - 40, high=height + 40)
    if reply.done:
        return reply.value, "" if reply.value else "the number was 0"
    unmet = ", ".join(reason.name for reason in reply.unmet())
    return 0, f"not checked, arming was refused: {unmet}"


def _refuses_wrong_nonce(link: Link) -> str:
    """A permit with the wrong number is refused and disarms."""
    nonce, trouble = _arm(link)
    if trouble:
        return trouble
    reply = link.command(Op.PERMIT, nonce=nonce ^ 1 or 2)
    if reply.reason is not Reason.WRONG_NONCE:
        return f"it answered {reply.reason.name}"
    link.wait(0.25)
    return "" if link.status["state"] == State.HELD else "it stayed armed"


def _nonce_is_used_once(link: Link) -> str:
    """Every arming has a number of its own, good for one permit, and a disarm takes it back."""
    first, trouble = _arm(link)
    if trouble:
        return trouble
    if not link.command(Op.PERMIT, nonce=first).done:
        return "the right number was refused"
    link.command(Op.DISARM)
    if link.command(Op.PERMIT, nonce=first).reason is not Reason.NOT_ARMED:
        return "an old number was taken again"
    second, trouble = _arm(link)
    link.command(Op.DISARM)
    return trouble or ("two armings had the same number" if first == second else "")


def _trips_on_silence(link: Link) -> str:
    """An armed board that hears no heartbeat for 0.5 s trips within 0.6 s."""
    _, trouble = _arm(link)
    if trouble:
        return trouble
    told: list[Happening] = []
    link.listeners.append(told.append)
    link.hold_beats(1.0)
    link.wait(wire.LIMITS["BEAT_LIMIT_MS"] / 1e3 + 0.25)
    link.listeners.remove(told.append)
    if not link.exchanges:
        return "not checked, no heartbeat was answered"
    beaten = link.exchanges[-1].ticks
    link.hold_beats(0.0)
    link.wait(0.2)
    trips = [e for e in told if e.code is Event.STATE and e.value == State.TRIPPED]
    if not trips:
        return f"its state is {State(link.status['state']).name}"
    silent_s = (trips[0].ticks - beaten) / wire.TICK_HZ
    if not 0.49 <= silent_s <= 0.6:
        return f"it tripped after {silent_s:.3f} s"
    return "" if trips[0].extra == Reason.BEAT_LOST else "it names another reason"


def _stays_tripped(link: Link) -> str:
    """A trip is not cleared before the guard was opened and closed by hand."""
    if link.status["state"] != State.TRIPPED:
        return "not checked, it is not tripped"
    reply = link.command(Op.CLEAR)
    return "" if not reply.done else "it was cleared from here"


CHECKS: tuple[Check, ...] = (
    _tells_who_it_is,
    _keeps_reserved_pins,
    _refuses_a_reserved_pin,
    _reports_status,
    channels.streams_height,
    channels.stops_streaming,
    channels.streams_angle,
    channels.streams_load,
    channels.stops_load_and_angle,
    channels.refuses_an_unknown_channel,
    _counts_damaged,
    _answers_unknown,
    _keeps_time,
    _refuses_unarmed,
    _refuses_empty_window,
    _refuses_outside,
    _refuses_wrong_nonce,
    _nonce_is_used_once,
    strokes.tells_totals,
    strokes.refuses_an_empty_band,
    strokes.refuses_a_drive_unarmed,
    strokes.refuses_a_drive_without_strokes,
    strokes.arms_a_drive_at_home_only,
    strokes.takes_a_drive_s_nonce_once,
    strokes.drop_and_drive_refuse_each_other,
    _trips_on_silence,
    _stays_tripped,
)
