"""Counting strokes of the cutting carriage, drawn by hand or by its motor.

What is counted is the difference of the board's totals, journaled at every change, with the boot
they belong to. A program that was killed takes in what the same boot counted meanwhile; after a
restart of the board the step ends with what was seen, and the procedure asks the person.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any

from rig.board.link import Link
from rig.board.samples import capture
from rig.board.wire import Kind, Op, Stroke
from rig.errors import RigError
from rig.guide.confirming import asked
from rig.guide.device import Device
from rig.guide.driving import by_motor
from rig.guide.hazards import Warned
from rig.guide.operator import GO_ON, RESUME, Operator
from rig.guide.steps import Outcome, Strokes
from rig.guide.stretch import COUNT, RESTARTED, SAID, TALLY, Stretch, totals
from rig.guide.tally import Tally
from rig.guide.words import SaidBack
from rig.logbook.store import Logbook

KNOWN_S = 3.0  # COUNTS come twice a second
SETTLE_S, SETTLE_LIMIT_S = 1.2, 20.0
IDLE_ACTS = 20


@contextmanager
def quiet(link: Link, load: bool) -> Iterator[None]:
    """The height, which says nothing here, is off meanwhile; the load is on when wanted."""
    height = Kind.HEIGHT in link.latest
    link.stream(Kind.HEIGHT, False)
    if load:
        link.stream(Kind.LOAD, True)
    try:
        yield
    except SaidBack:
        _as_before(link, load, height)
        raise
    _as_before(link, load, height)  # after any other error there may be no line left to ask


def _as_before(link: Link, load: bool, height: bool) -> None:
    if load:
        link.stream(Kind.LOAD, False)
    if height:
        link.stream(Kind.HEIGHT, True)


@dataclass
class Stroker:
    """One Strokes step."""

    book: Logbook
    run_id: int
    device: Device
    operator: Operator
    warned: Warned

    def perform(self, index: int, step: Strokes) -> Callable[[], Outcome]:
        """Count until there are enough, or until something else ends it.

        Raises:
            RigError: the board does not count, or its switches make no sense.
            LinkLost: the line went down; done again, the count goes on.
        """
        link = self.device.link
        if not link.wait_until(lambda: link.counts is not None, KNOWN_S):
            raise RigError("the board tells no counts", where="board", remedy=f"reset it, {GO_ON}")
        tally = self._journaled(index)
        if tally is not None and tally.boot != link.boot:
            return self._stored(index, step, tally, RESTARTED, b"")
        return self._count(index, step, tally)

    def _count(self, index: int, step: Strokes, tally: Tally | None) -> Callable[[], Outcome]:
        """Counting has begun when the person reads what to draw: no stroke can come too early."""
        link = self.device.link
        begun = tally or Tally.begin(link.boot or 0, totals(link))
        stretch = Stretch(self.book, self.run_id, index, self.device, self.operator, step, begun)
        if tally is None:
            stretch.write()
        raw = b""
        try:
            link.command(Op.STROKES, min_ms=step.min_ms, max_ms=step.max_ms)
            with quiet(link, step.load):
                link.start_record()
                self._understood(step, stretch)
                ended = by_motor(stretch) if step.driven else _by_hand(stretch)
                ended = _settled(stretch, ended)
                raw = link.stop_record()
        except SaidBack:
            link.stop_record()
            raise
        except BaseException:
            self._keep(index, step, link.stop_record())
            raise
        return self._stored(index, step, stretch.tally, ended, raw)

    def _understood(self, step: Strokes, stretch: Stretch) -> None:
        """Ask whether it is understood, unless strokes come before that is said."""
        if stretch.tally.counted:
            self.operator.tell(f"{stretch.tally.counted} of {step.count} cuts are made.")
        if not stretch.left:
            return
        if step.by_itself:
            self.operator.tell(step.text)
        else:
            ready = "understood" if step.driven else f"understood; then wait for {step.now}"
            confirmed = asked(step, self.operator, self.warned, ready)
            had = stretch.tally.counted

            def begun() -> bool:
                stretch.take()
                return stretch.restarted or stretch.tally.counted > had or confirmed()

            self.device.until(begun)
            if stretch.tally.counted > had:
                self.operator.call("Begun before it was asked for. It counts: go on.")
                return
        stretch.require_home()
        if not stretch.tally.counted and not stretch.restarted:
            # The way home is no stroke of this stretch.
            stretch.tally = Tally.begin(stretch.tally.boot, totals(self.device.link))
            stretch.write()
        if not step.driven:
            self.operator.call(step.now)

    def _keep(self, index: int, step: Strokes, raw: bytes) -> None:
        """The frames of a stretch that was broken off."""
        if raw:
            meta: dict[str, Any] = {"trial": step.trial, "index": index, "part": True}
            with suppress(RigError):  # the disk may be the trouble itself
                self.book.store_raw(self.run_id, step.trial, raw, meta)

    def _journaled(self, index: int) -> Tally | None:
        """What an earlier life of this run had counted of this step."""
        rows = [row.body for row in self.book.journal(self.run_id, TALLY)]
        own = [row for row in rows if row["index"] == index]
        return Tally.from_dict(own[-1]["tally"]) if own else None

    def _stored(
        self, index: int, step: Strokes, tally: Tally, ended: str, raw: bytes
    ) -> Callable[[], Outcome]:
        earlier = self._parts(index, step)
        seen = [
            stroke
            for part in (*(self.book.raw(raw_id)[0] for raw_id in earlier), raw)
            for stroke in capture(part).strokes
            if stroke.verdict is Stroke.COUNTED
        ]
        outcome: dict[str, Any] = {
            "counted": tally.counted,
            "rejected": tally.rejected,
            "ended": ended,
            "mean_codes": [stroke.mean for stroke in seen if stroke.samples],
            "saturated": sum(stroke.saturated for stroke in seen),
            "boot": self.device.link.boot,
        }

        def store() -> Outcome:
            meta = {"trial": step.trial, "index": index, **outcome}
            own = [self.book.store_raw(self.run_id, step.trial, raw, meta)] if raw else []
            return {**outcome, "raw_ids": [*earlier, *own]}

        return store

    def _parts(self, index: int, step: Strokes) -> list[int]:
        """Raw frames kept of this step when it was broken off."""
        return [
            raw_id
            for raw_id in self.book.raw_ids(self.run_id, step.trial)
            if self.book.raw(raw_id)[1].get("index") == index
        ]


def _by_hand(stretch: Stretch) -> str:
    """Follow a hand; a virtual one is begun, and begun again for what it did not get counted."""
    hands, clock, step = stretch.device.hands, stretch.link.clock, stretch.step
    busy_until, acts = 0.0, 0

    def ended() -> str:
        nonlocal busy_until, acts
        why = stretch.why_now()
        if why or hands is None or not step.hand or clock.now() < busy_until:
            return why
        acts += 1
        if acts > IDLE_ACTS:
            raise RigError("the hands make no strokes that count", remedy=RESUME)
        told = {**step.detail, "count": stretch.left}
        busy_until = clock.now() + hands.act(step.hand, told) + SETTLE_S
        return ""

    return stretch.serve_until(ended, lambda: busy_until)


def _settled(stretch: Stretch, ended: str) -> str:
    """Take in what a hand makes beyond the count or a pause, until there is no more."""
    if ended not in (COUNT, SAID):
        return ended
    link, clock = stretch.link, stretch.link.clock
    if ended == COUNT:
        stretch.operator.tell(f"Stop: {stretch.tally.counted} cuts.")
    elif stretch.device.hands is not None and not stretch.step.driven:
        stretch.device.hands.act("home", {})
    since, last = clock.now(), stretch.tally

    def rests() -> bool:
        nonlocal since, last
        stretch.take()
        away = link.counts is None or not link.counts.near
        if stretch.tally != last or away:
            since, last = clock.now(), stretch.tally
        return stretch.restarted or clock.now() - since >= SETTLE_S

    link.wait_until(rests, SETTLE_LIMIT_S)
    return ended
