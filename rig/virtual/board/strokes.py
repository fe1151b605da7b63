"""Full strokes of the carriage, told apart from all that only looks like one.

The firmware's machine (firmware/src/strokes.hpp) once more in Python; a randomised test holds the
two equal, so a change here is a change there. Pure logic, one `tick` each millisecond.
"""

import enum
from typing import NamedTuple

from rig.board.wire import LIMITS, Stroke
from rig.virtual.board.logic import Contact

STABLE_MS = LIMITS["SWITCH_STABLE_MS"]
STUCK_MS = LIMITS["SWITCH_STUCK_MS"]
LONGEST_MS = (1 << 14) - 1


class WayOut(NamedTuple):
    """From near opening to far closing (or near, or both), in ticks of the first sample.

    `end` only when not `under_way`; `number` modulo 256.
    """

    left_at: int
    end: int
    number: int
    under_way: bool


class JudgedStroke(NamedTuple):
    """What was judged, and the full strokes so far."""

    time: int
    number: int
    out_ms: int
    back_ms: int
    verdict: Stroke
    way: WayOut


class Phase(enum.Enum):
    """Where the carriage is on its way; UNKNOWN until it was seen home."""

    UNKNOWN = 0
    HOME = 1
    OUT = 2
    AT_FAR = 3
    BACK = 4


class Strokes:
    """Judges motions by the levels of the end switches (true when closed).

    Attributes:
        counted: full strokes.
        totals: of each other verdict.
        ends, faults: ends reached in turn, and verdicts that blame a switch, modulo 256.
        way: the way out now or last.
        near_changed, far_changed: of the last tick: the time the new level began, or None.
    """

    def __init__(self, near: bool, far: bool) -> None:
        self._near, self._far = Contact(near, STABLE_MS), Contact(far, STABLE_MS)
        self._phase = Phase.HOME if near and not far else Phase.UNKNOWN
        self.counted = 0
        self.totals = {kind: 0 for kind in Stroke if kind is not Stroke.COUNTED}
        self.ends = self.faults = 0
        self.way = WayOut(0, 0, 0, False)
        self.near_changed: int | None = None
        self.far_changed: int | None = None
        self._elapsed_ms = self._out_ms = self._closed_ms = 0
        self.default_band()

    @property
    def near(self) -> bool:
        """Believed level."""
        return bool(self._near.level)

    @property
    def far(self) -> bool:
        """Believed level."""
        return bool(self._far.level)

    def default_band(self) -> None:
        """Back to the band that holds until another is set."""
        self.set_band(LIMITS["STROKE_MIN_MS"], LIMITS["STROKE_MAX_MS"])

    def set_band(self, min_ms: int, max_ms: int) -> bool:
        """Full strokes within this band count. False when it is empty."""
        if min_ms >= max_ms:
            return False
        self._band = min_ms, max_ms
        return True

    def resting(self, near: bool, far: bool) -> bool:
        """Ticks with these levels and a drive at rest change nothing but the time passed."""
        return self._near.rests(near) and self._far.rests(far) and not (near and far)

    def idle(self, ticks: int) -> None:
        """Many ticks at once while `resting`."""
        self._elapsed_ms = min(self._elapsed_ms + ticks, LONGEST_MS + 1)
        self._closed_ms = 0
        self.near_changed = self.far_changed = None

    def tick(self, near: bool, far: bool, moving: bool, now: int) -> JudgedStroke | None:
        """One millisecond; `moving` while the drive runs."""
        self.near_changed = self._near.tick(near, now)
        self.far_changed = self._far.tick(far, now)
        self._elapsed_ms = min(self._elapsed_ms + 1, LONGEST_MS + 1)
        if self.near_changed is None and self.far_changed is None:
            return self._stayed(moving, now)
        self._closed_ms = 0
        return self._changed()

    def _changed(self) -> JudgedStroke | None:
        """Openings first: in a tick in which one opens and the other closes, both never were."""
        if self.near_changed is not None and not self.near:
            self._leave(self.near_changed)
        if self.far_changed is not None and not self.far:
            self._leave_far()
        near_closed = self.near_changed if self.near else None
        far_closed = self.far_changed if self.far else None
        if self.near and self.far:
            return self._both(near_closed if near_closed is not None else far_closed)
        if near_closed is not None:
            return self._come_home(near_closed)
        return self._arrive(far_closed) if far_closed is not None else None

    def _both(self, time: int | None) -> JudgedStroke | None:
        if time is None:
            return None
        if self.way.under_way:
            self._end_way_out(time)
        self._phase = Phase.UNKNOWN
        return self._judge(Stroke.BOTH_CLOSED, time)

    def _leave(self, time: int) -> None:
        if self._phase is Phase.HOME:
            self._phase = Phase.OUT
            self._elapsed_ms = 0
            self.way = WayOut(time, self.way.end, (self.way.number + 1) % 256, True)

    def _leave_far(self) -> None:
        if self._phase is Phase.AT_FAR:
            self._phase = Phase.BACK
        elif self.near:
            self._phase = Phase.HOME

    def _arrive(self, time: int) -> JudgedStroke | None:
        if self._phase is Phase.UNKNOWN:
            return self._judge(Stroke.WRONG_ORDER, time)
        if self._phase is Phase.OUT:
            self._end_way_out(time)
            self.ends = (self.ends + 1) % 256
        self._phase = Phase.AT_FAR
        return None

    def _come_home(self, time: int) -> JudgedStroke | None:
        before, self._phase = self._phase, Phase.HOME
        if before is Phase.OUT:
            self._end_way_out(time)
            return self._judge(Stroke.PARTIAL, time)
        if before is not Phase.BACK:
            return None
        self.ends = (self.ends + 1) % 256
        if self._elapsed_ms < self._band[0]:
            return self._judge(Stroke.TOO_FAST, time)
        slow = self._elapsed_ms > self._band[1]
        return self._judge(Stroke.TOO_SLOW if slow else Stroke.COUNTED, time)

    def _end_way_out(self, time: int) -> None:
        self._out_ms = self._elapsed_ms
        self.way = self.way._replace(end=time, under_way=False)

    def _stayed(self, moving: bool, now: int) -> JudgedStroke | None:
        if not (self.near and self.far) and not (moving and (self.near or self.far)):
            self._closed_ms = 0
            return None
        if self._closed_ms == STUCK_MS:  # told already
            return None
        self._closed_ms += 1
        if self._closed_ms < STUCK_MS:
            return None
        self._phase = Phase.HOME if self.near and not self.far else Phase.UNKNOWN
        return self._judge(Stroke.STUCK, now)

    def _judge(self, verdict: Stroke, time: int) -> JudgedStroke:
        if verdict is Stroke.COUNTED:
            self.counted += 1
        else:
            self.totals[verdict] += 1
        if verdict >= Stroke.BOTH_CLOSED:
            self.faults = (self.faults + 1) % 256
            self._out_ms = self._elapsed_ms = 0
        out, back = self._out_ms, self._elapsed_ms - self._out_ms
        out, back = min(out, LONGEST_MS), min(back, LONGEST_MS)
        return JudgedStroke(time, self.counted, out, back, verdict, self.way)
