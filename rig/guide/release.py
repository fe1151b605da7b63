"""Arm, permit, wait for the hand on the button, record the fall.

Software only ever permits. The intent is journaled before the permit leaves: should the program
die after that, the resumed run knows that the carriage may have fallen unrecorded.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from rig.board.link import Link, LinkLost, Reply
from rig.board.samples import Happening
from rig.board.wire import LIMITS, Event, Op, Output, Reason, State
from rig.errors import RigError
from rig.guide.clock import time_base
from rig.guide.device import Device
from rig.guide.heights import AGAIN, lights
from rig.guide.operator import GO_ON, Operator
from rig.guide.reasons import TEXT
from rig.guide.safe import make_ready
from rig.guide.steps import Outcome, Release
from rig.logbook.store import Logbook

INTENT, ENDED = "permit", "permit_ended"
TRIES = 40
SETTLE_S = 0.4
SETTLE_LIMIT_S = 5.0


@dataclass
class Releaser:
    """One Release step."""

    book: Logbook
    run_id: int
    device: Device
    operator: Operator
    _events: list[Happening] = field(default_factory=list)
    _index: int = -1

    def perform(self, index: int, step: Release) -> Callable[[], Outcome]:
        """The fall's record and how it ended.

        Raises:
            RigError: the interlock kept refusing.
            LinkLost: the line went down before the permit.
        """
        self._index = index
        if self._was_permitted():
            return lambda: _unrecorded("INTERRUPTED", released=None)
        if step.text:
            self.operator.tell(step.text)
        for _ in range(TRIES):
            if self.device.link.boot != step.boot:
                return lambda: _unrecorded("RESTARTED", released=False)
            if self.operator.typed(AGAIN):  # between two tries nothing is permitted
                return lambda: _unrecorded("SAID", released=False)
            if _down(self.device.link.position, step):
                self.operator.tell(
                    "The carriage is down, and nothing was permitted: it fell, or was let down."
                )
                return lambda: _unrecorded("DOWN", released=False)
            raw = self._try_once(step)
            if raw is not None:
                return self._stored(step, raw)
        raise RigError(
            "the interlock did not come to a release",
            remedy=f"put right what it named, {GO_ON}",
        )

    def _was_permitted(self) -> bool:
        """Whether an earlier life of this run permitted this release and never saw its end."""
        open_permits = 0
        for row in self.book.journal(self.run_id):
            if row.kind in (INTENT, ENDED) and row.body["index"] == self._index:
                open_permits += 1 if row.kind == INTENT else -1
        return open_permits > 0

    def _try_once(self, step: Release) -> bytes | None:
        """The raw bytes of a fall, or None when nothing was released this time."""
        link = self.device.link
        self._events = []
        link.listeners.append(self._events.append)
        link.start_record()
        permitted = False
        try:
            armed = link.command(Op.ARM, low=step.low_counts, high=step.high_counts)
            if not armed.done:
                self._refused(armed)
                return None
            body: dict[str, Any] = {"index": self._index, "trial": step.trial}
            self.book.append(INTENT, body, self.run_id)
            permitted = True
            granted = link.command(Op.PERMIT, nonce=armed.value)
            if not granted.done:
                # Refused because it was disarmed in between? Then that is the reason to name.
                between = self._ended()
                self._withdrawn(granted.reason if between is None else Reason(between))
                return None
            self.operator.call("PRESS NOW: the release button at the rig. Hands and head stay out.")
            self.device.act("press")
            return self._watch_fall()
        except LinkLost:
            if not permitted:
                raise
            return link.stop_record()
        finally:
            link.listeners.remove(self._events.append)

    def _watch_fall(self) -> bytes | None:
        link = self.device.link
        begun = link.clock.now()
        limit_s = LIMITS["PERMIT_LIMIT_MS"] / 1e3

        def ended() -> bool:
            left = max(limit_s - (link.clock.now() - begun), 0)
            self.operator.live(
                f"PERMITTED: press the release button ({left:.0f} s)  {lights(link)}"
            )
            return self._ended() is not None

        # The events could be lost on the line; then the trial is void, and this limit ends it.
        link.wait_until(ended, limit_s + LIMITS["FLIGHT_LIMIT_MS"] / 1e3 + 2)
        why = self._ended()
        if why is not None and not self._released():
            self._withdrawn(Reason(why))
            return None
        self._let_settle(link)
        return link.stop_record()

    def _let_settle(self, link: Link) -> None:
        """Record until the carriage lies still, so that every later strike is in the record."""
        last: list[Any] = [link.position, link.clock.now()]

        def still() -> bool:
            if last[0] is None or abs((link.position or 0) - last[0]) > 1:
                last[:] = [link.position, link.clock.now()]
            return bool(link.clock.now() - last[1] >= SETTLE_S)

        link.wait_until(still, SETTLE_LIMIT_S)

    def _released(self) -> bool:
        return any(
            e.code is Event.OUTPUT and e.value == Output.LATCH and e.extra for e in self._events
        )

    def _ended(self) -> int | None:
        """The reason with which the interlock left the permit, the release or the flight."""
        ends = [
            e.extra
            for e in self._events
            if e.code is Event.STATE and e.value in (State.HELD, State.TRIPPED)
        ]
        return ends[0] if ends else None

    def _refused(self, reply: Reply) -> None:
        """Tell why, and give the person time to put it right."""
        link = self.device.link
        link.stop_record()
        self.operator.tell("Not armed: " + "; ".join(TEXT[reason] for reason in reply.unmet()))
        self._put_right(reply.reason)

    def _withdrawn(self, reason: Reason) -> None:
        self.device.link.stop_record()
        self.book.append(ENDED, {"index": self._index, "reason": reason.name}, self.run_id)
        self.operator.tell(f"Nothing was released: {TEXT[reason]}.")
        self._put_right(reason)

    def _put_right(self, reason: Reason) -> None:
        link = self.device.link
        link.wait(0.25)
        unsafe = (Reason.GUARD_OPEN, Reason.ESTOP_OPEN, Reason.TRIPPED)
        if reason in unsafe or link.status.get("state") == State.TRIPPED:
            make_ready(self.device, self.operator, "Close the guard and check the e-stop.")
        else:
            link.wait(1.0)

    def _stored(self, step: Release, raw: bytes) -> Callable[[], Outcome]:
        link = self.device.link
        ended = self._ended()
        outcome: dict[str, Any] = {
            "ended": "UNSEEN" if ended is None else Reason(ended).name,
            "released": self._released(),
            "boot": link.boot,
            "time_base": time_base(link),
        }

        def store() -> Outcome:
            meta = {"trial": step.trial, **outcome}
            raw_id = self.book.store_raw(self.run_id, step.trial, raw, meta)
            return {"raw_id": raw_id, **outcome}

        return store


def _down(position: int | None, step: Release) -> bool:
    """Whether it is nearer to contact than to its band: no carriage that hangs is."""
    if position is None or step.zero_counts is None:
        return False
    return position < (step.zero_counts + step.low_counts) / 2


def _unrecorded(why: str, released: bool | None) -> Outcome:
    return {"raw_id": None, "ended": why, "released": released, "boot": None, "time_base": None}
