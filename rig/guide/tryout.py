"""Trying a rig out: does the board notice, refuse and switch off what it must?

Nothing is measured here. A `Dry` run permits with nothing that could fall or be caught, and still
only the hand at the button releases or starts.
"""

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from rig.board.link import Link, LinkError, Reply
from rig.board.samples import Happening
from rig.board.wire import (
    LIMITS,
    TICK_HZ,
    TIME_BITS,
    DriveState,
    Event,
    Input,
    Kind,
    Op,
    Output,
    Reason,
    State,
)
from rig.errors import RigError
from rig.guide.clock import time_base
from rig.guide.device import Device
from rig.guide.driving import in_words
from rig.guide.operator import GO_ON, Operator
from rig.guide.reasons import TEXT
from rig.guide.steps import Outcome, Step
from rig.logbook.store import Logbook

NO = "no"
"""What the person says who has done it, and nothing was noticed."""
LIMIT_S = 300.0
FIRST_S = 3.0  # of a channel that was just asked for
FRESH_S = 0.6  # by then STATUS and COUNTS tell what the motion before has left
BAND_COUNTS = 20  # about the height at which the carriage lies
AWAY_COUNTS = 4000  # a band in which it is not: a metre higher
DRY_STROKES = 20
AFTERWARDS_S = 1.0  # what comes after the end is on record too
INTENT, ENDED = "dry_permit", "dry_ended"
CHANNELS = {"height": Kind.HEIGHT, "load": Kind.LOAD, "angle": Kind.ANGLE}
ENDS = ("NEAR", "FAR")


@dataclass(frozen=True)
class Notice(Step):
    """Something for the board to notice while a hand does it; it goes on by itself.

    `what`: a name of `wire.Input`, NEAR or FAR, or "height", "load" or "angle". `to`: for a contact
    1 or 0 (closed, healthy, pressed, beam broken); for a channel the change that is asked for, with
    its sign, in its own counts, codes or sums.
    Outcome: `seen`, `before` and `then` (None: nothing came of it).
    """

    what: str
    to: float
    hand: str = ""
    detail: Mapping[str, float | str] = field(default_factory=dict)


@dataclass(frozen=True)
class Refusal(Step):
    """Ask the board to arm (`drive`: the motor) where it must refuse; then it is disarmed.

    `away`: for heights where the carriage is not. Nothing is permitted.
    Outcome: `armed`, `reasons` (names of what stood in the way).
    """

    drive: bool = False
    away: bool = False


@dataclass(frozen=True)
class Dry(Step):
    """Arm and permit latch and catch (`drive`: the motor) with nothing on them.

    `now` calls for the hand, `then` for another motion once the motor runs. `silent`: the program
    says nothing to the board meanwhile, as if it had died.
    Outcome: `raw_id`, `ended` (the reason's name; "" when nothing came), `refused` (names; then
    nothing was permitted), `on`: outputs in the order they were energised, `lead_ms` from the first
    to the second, `off_ms` from a contact that opened to the output off (None: there is none).
    """

    trial: str
    drive: bool = False
    now: str = ""
    hand: str = ""
    detail: Mapping[str, float | str] = field(default_factory=dict)
    then: str = ""
    then_hand: str = ""
    then_detail: Mapping[str, float | str] = field(default_factory=dict)
    silent: bool = False


@dataclass
class Tryout:
    """One step of one run."""

    book: Logbook
    run_id: int
    device: Device
    operator: Operator
    _events: list[Happening] = field(default_factory=list)

    @property
    def link(self) -> Link:
        """The line as it is now."""
        return self.device.link

    # -- noticing

    def notice(self, step: Notice) -> Callable[[], Outcome]:
        """Wait until the board tells of it, or the person that it does not."""
        kind = CHANNELS.get(step.what)
        streams = kind is not None and kind not in self.link.latest
        if streams and kind is not None:
            self.link.stream(kind, True)
        self.link.wait(FRESH_S)
        self.link.listeners.append(self._events.append)
        try:
            if kind is not None:
                self.link.wait_until(lambda: kind in self.link.latest, FIRST_S)
            told = self._noticed(step, self._now(step.what))
        finally:
            self.link.listeners.remove(self._events.append)
            if streams and kind is not None:
                with suppress(LinkError):
                    self.link.stream(kind, False)
        return lambda: told

    def _noticed(self, step: Notice, before: float | None) -> dict[str, Any]:
        self.operator.call(step.text)
        self.device.act(step.hand, step.detail)
        end = self.link.clock.now() + LIMIT_S
        said = False

        def over() -> bool:
            nonlocal said
            now = self._now(step.what)
            said = said or self.operator.typed(NO)
            self.operator.live(f"{step.what} {'?' if now is None else f'{now:g}'}  ({NO}: done, "
                               "and nothing came)")  # fmt: skip
            return said or self._seen(step, before) or self.link.clock.now() > end

        self.device.until(over)
        return {"seen": self._seen(step, before), "before": before, "then": self._now(step.what)}

    def _seen(self, step: Notice, before: float | None) -> bool:
        now = self._now(step.what)
        if step.what in CHANNELS:
            if before is None or now is None:
                return False
            return (now - before) * step.to > 0 and abs(now - before) >= abs(step.to)
        pulsed = any(e.code.name == step.what and e.value == step.to for e in self._events)
        return now == step.to or pulsed

    def _now(self, what: str) -> float | None:
        """What the board tells of it last."""
        link = self.link
        if what in CHANNELS:
            recent = link.recent[CHANNELS[what]]
            few = [value for _, value in list(recent)[-8:]]
            return sum(few) / len(few) if few else None
        told = [e.value for e in self._events if e.code.name == what]
        if told:
            return float(told[-1])
        if what in ENDS:
            counts = link.counts
            return None if counts is None else float(counts.near if what == "NEAR" else counts.far)
        return float(link.input(Input[what]))

    # -- refusing

    def refusal(self, step: Refusal) -> Callable[[], Outcome]:
        """What the board answers."""
        if step.text:
            self.operator.tell(step.text)
        self.link.wait(0.3)  # what a hand did last is known to both
        reply = self._arm(step.drive, AWAY_COUNTS if step.away else 0)
        self.link.command(Op.DRIVE_STOP if step.drive else Op.DISARM)
        told = {"armed": reply.done, "reasons": [reason.name for reason in reply.unmet()]}
        return lambda: told

    def _arm(self, drive: bool, away: int = 0) -> Reply:
        if drive:
            return self.link.command(Op.DRIVE_ARM, target=DRY_STROKES)
        if not self.link.wait_until(lambda: self.link.position is not None, FIRST_S):
            raise RigError("the board tells no height", where="board", remedy=f"reset it, {GO_ON}")
        here = (self.link.position or 0) + away
        return self.link.command(Op.ARM, low=here - BAND_COUNTS, high=here + BAND_COUNTS)

    # -- permitting with nothing on it

    def dry(self, index: int, step: Dry) -> Callable[[], Outcome]:
        """Permit, follow what is energised, and make sure that it is off at the end."""
        link = self.link
        if step.text:
            self.operator.tell(step.text)
        link.wait(LIMITS["STEADY_MS"] / 1e3 + 0.1)
        link.listeners.append(self._events.append)
        link.start_record()
        refused: list[str] = []
        raw = b""
        try:
            armed = self._arm(step.drive)
            refused = [reason.name for reason in armed.unmet()]
            if armed.done:
                body: dict[str, Any] = {"index": index, "trial": step.trial}
                self.book.append(INTENT, body, self.run_id)
                op = Op.DRIVE_PERMIT if step.drive else Op.PERMIT
                granted = link.command(op, nonce=armed.value)
                refused = [reason.name for reason in granted.unmet()]
                if granted.done:
                    self._followed(step)
                self.book.append(ENDED, {**body, "reason": self._ended(step.drive)}, self.run_id)
            if refused:
                words = in_words if step.drive else TEXT.__getitem__
                why = "; ".join(words(Reason[name]) for name in refused)
                self.operator.tell(f"Not permitted: {why}")
        finally:
            link.hold_beats(0)
            with suppress(LinkError):  # without a line the board is off by itself
                link.command(Op.DRIVE_STOP if step.drive else Op.DISARM)
            link.listeners.remove(self._events.append)
            raw = link.stop_record()
        return self._stored(step, refused, raw)

    def _followed(self, step: Dry) -> None:
        link = self.link
        if step.now:
            self.operator.call(step.now)
        self.device.act(step.hand, step.detail)
        if step.silent and not step.then:
            link.hold_beats(AFTERWARDS_S + LIMITS["BEAT_LIMIT_MS"] / 1e3)
        began, called = link.clock.now(), False

        def over() -> bool:
            nonlocal called
            left = max(LIMITS["PERMIT_LIMIT_MS"] / 1e3 - (link.clock.now() - began), 0)
            runs = step.drive and self._ran()
            self.operator.live("RUNNING" if runs else f"PERMITTED ({left:.0f} s)")
            if runs and not called and (step.then or step.silent):
                called = True
                if step.then:
                    self.operator.call(step.then)
                    self.device.act(step.then_hand, step.then_detail)
                else:
                    link.hold_beats(AFTERWARDS_S + LIMITS["BEAT_LIMIT_MS"] / 1e3)
            return bool(self._ended(step.drive))

        most_s = (
            LIMITS["PERMIT_LIMIT_MS"] + LIMITS["FLIGHT_LIMIT_MS"]
        ) / 1e3 + LIMIT_S * step.drive
        link.wait_until(over, most_s)
        link.wait(AFTERWARDS_S)

    def _ran(self) -> bool:
        return any(e.code is Event.DRIVE and e.value == DriveState.RUNNING for e in self._events)

    def _ended(self, drive: bool) -> str:
        """The name of the reason with which the permit, the release or the motor ended."""
        code, over = (Event.DRIVE, (DriveState.OFF,)) if drive else (
            Event.STATE, (State.HELD, State.TRIPPED))  # fmt: skip
        ends = [e.extra for e in self._events if e.code is code and e.value in over]
        return Reason(ends[0]).name if ends else ""

    def _stored(self, step: Dry, refused: list[str], raw: bytes) -> Callable[[], Outcome]:
        on = [
            (Output(e.value).name, e.ticks)
            for e in self._events
            if e.code is Event.OUTPUT and e.extra and e.value != Output.LAMP
        ]
        if step.drive and self._ran():
            on.append(("DRIVE", 0))
        outcome: dict[str, Any] = {
            "ended": self._ended(step.drive),
            "refused": refused,
            "on": [name for name, _ in on],
            "lead_ms": _ms(on[0][1], on[1][1]) if len(on) > 1 else None,
            "off_ms": self._off_ms(step.drive),
            "boot": self.link.boot,
            "time_base": time_base(self.link),
        }

        def store() -> Outcome:
            meta = {"trial": step.trial, **outcome}
            raw_id = self.book.store_raw(self.run_id, step.trial, raw, meta) if raw else None
            return {"raw_id": raw_id, **outcome}

        return store

    def _off_ms(self, drive: bool) -> float | None:
        """From a loop that opened to the end of what it cuts, by the board's own clock."""
        opened = [
            e.ticks for e in self._events if e.code in (Event.GUARD, Event.ESTOP) and not e.value
        ]
        code = Event.DRIVE if drive else Event.STATE
        over = DriveState.OFF if drive else State.TRIPPED
        ends = [e.ticks for e in self._events if e.code is code and e.value == over]
        # A contact's event comes once it is believed, what it cuts at its first edge: 0 at least.
        return max(_ms(opened[0], ends[0]), 0.0) if opened and ends else None


def _ms(first: int, second: int) -> float:
    half = 1 << TIME_BITS - 1  # the board's time wraps around
    ticks: int = (second - first + half) % (2 * half) - half
    return round(ticks / TICK_HZ * 1e3, 2)
