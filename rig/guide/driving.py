"""The cutting carriage's motor: arm, permit, wait for the hand that starts it, follow.

Software only ever permits, for a stated number of strokes; the permit is journaled before it
leaves. Whatever stops the motor, it starts again only by a new permit and the hand.
"""

from contextlib import suppress
from typing import Any

from rig.board.link import LinkError, Reply
from rig.board.samples import Happening
from rig.board.wire import DriveState, Event, Op, Reason
from rig.errors import RigError
from rig.guide.operator import GO_ON
from rig.guide.reasons import TEXT
from rig.guide.safe import make_ready
from rig.guide.stretch import COUNT, RESTARTED, SAID, Stretch
from rig.guide.tally import PAUSE

PERMIT, ENDED = "drive_permit", "drive_ended"
TRIES = 40
LATE_S = 1.2  # by then COUNTS tell of what came after the permit
MENDED = (
    "GUARD_OPEN", "ESTOP_OPEN", "BEAT_LOST", "ARM_EXPIRED", "PERMIT_EXPIRED", "BUTTON_HELD",
    "OUTSIDE_WINDOW", "TARGET",
)  # fmt: skip
"""Endings after which the motor is permitted anew for the rest; others are for the procedure."""


NOT_HOME = "the carriage is not home: bring it home"


def by_motor(stretch: Stretch) -> str:
    """Let the motor make the strokes; gives why it ended.

    Raises:
        RigError: the board kept refusing.
        LinkLost: the line went down; the board has stopped the motor.
    """
    for _ in range(TRIES):
        why = stretch.why_now() or _once(stretch)
        if why:
            return why
    raise RigError("the drive did not come to run", remedy=f"put right what it named, {GO_ON}")


def _once(stretch: Stretch) -> str:
    """One permit; "" when another is needed."""
    link, events = stretch.link, list[Happening]()
    armed = link.command(Op.DRIVE_ARM, target=stretch.left)
    if not armed.done:
        return _refused(stretch, armed)
    link.listeners.append(events.append)
    try:
        body: dict[str, Any] = {"index": stretch.index, "trial": stretch.step.trial}
        stretch.book.append(PERMIT, {**body, "strokes": stretch.left}, stretch.run_id)
        granted = link.command(Op.DRIVE_PERMIT, nonce=armed.value)
        if not granted.done:
            return _refused(stretch, granted)
        stretch.operator.call("PRESS NOW: the button at the rig starts the motor.")
        stretch.device.act("press")
        why = _followed(stretch, events)
        stretch.book.append(ENDED, {**body, "reason": why}, stretch.run_id)
    except BaseException:  # whatever it was, Ctrl-C too: the motor does not run on without us
        with suppress(LinkError):  # without a line the board stops it by itself
            link.command(Op.DRIVE_STOP)
        raise
    finally:
        link.listeners.remove(events.append)
    return _next(stretch, why)


def _followed(stretch: Stretch, events: list[Happening]) -> str:
    """Follow the motor until it is off; gives the reason's name."""
    link, since = stretch.link, stretch.link.clock.now()
    paused = False

    def off() -> str:
        nonlocal paused
        stretch.take()
        if stretch.restarted:
            return RESTARTED
        if not paused and stretch.operator.typed(PAUSE):
            paused = True
            link.command(Op.DRIVE_STOP)
        ends = [e.extra for e in events if e.code is Event.DRIVE and e.value == DriveState.OFF]
        told = link.counts
        late = link.clock.now() - since > LATE_S and told and told.drive is DriveState.OFF
        if not ends and not late:
            return ""
        why = Reason(ends[0]) if ends or told is None else told.drive_reason
        return SAID if paused else why.name

    return stretch.serve_until(off)


def _next(stretch: Stretch, why: str) -> str:
    """What the motor's end means for the stretch."""
    if why in (RESTARTED, SAID):
        return why

    def enough() -> bool:
        stretch.take()
        return not stretch.left

    if stretch.link.wait_until(enough, LATE_S):
        return COUNT
    stretch.operator.tell(f"The motor stopped: {in_words(Reason[why])}.")
    if why in MENDED:
        _put_right(stretch, [Reason[why]])
        return ""
    return why


def _refused(stretch: Stretch, reply: Reply) -> str:
    stretch.operator.tell("Not started: " + "; ".join(map(in_words, reply.unmet())))
    _put_right(stretch, reply.unmet())
    return ""


def in_words(reason: Reason) -> str:
    """The reason in words: the interlock's, but for a height it knows nothing of here."""
    return NOT_HOME if reason is Reason.OUTSIDE_WINDOW else TEXT[reason]


def _put_right(stretch: Stretch, reasons: list[Reason]) -> None:
    if {Reason.GUARD_OPEN, Reason.ESTOP_OPEN, Reason.TRIPPED} & set(reasons):
        make_ready(stretch.device, stretch.operator, "Close the guard and check the e-stop.")
    stretch.link.wait(1.0)
    stretch.require_home()
