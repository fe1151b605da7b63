"""Mean and peak of the load on a stroke's way out, and which conversions belong to it.

The firmware's (firmware/src/stroke_load.hpp) once more in Python; a randomised test holds the two
equal. An end of the way is believed SWITCH_STABLE_MS after it was, so a conversion is held back
until it is certain where the carriage stood then.
"""

from typing import NamedTuple

from rig.board.wire import LIMITS, LOAD_LIMITS, TICK_HZ, TIME_BITS
from rig.virtual.board.strokes import WayOut

CERTAIN_TICKS = (LIMITS["SWITCH_STABLE_MS"] + 2) * (TICK_HZ // 1000)
MOST = (1 << 14) - 1
_TIME = 1 << TIME_BITS


class LoadSummary(NamedTuple):
    """Codes: `mean` rounded down, `peak` the one farthest from the first, of `samples` of them;
    `saturated` when some were left out."""

    mean: int
    peak: int
    samples: int
    saturated: bool


class StrokeLoad:
    """Gathers the conversions of one way out after another."""

    def __init__(self) -> None:
        self._held: tuple[int, int] | None = None  # ticks, code
        self._number = 0
        self._clear()

    def add(self, time: int, code: int, way: WayOut) -> None:
        """A conversion and its time."""
        self._place(way)
        self._held = time, code

    def settle(self, now: int, way: WayOut) -> None:
        """From time to time: places the conversion held back, once that is certain."""
        if self._held is not None and (now - self._held[0]) % _TIME >= CERTAIN_TICKS:
            self._place(way)

    def take(self, way: WayOut) -> LoadSummary:
        """All of a way out that is over; ask once for each."""
        if self._held is not None and _within(self._held[0], way):
            self._place(way)
        if way.number != self._number:
            return LoadSummary(0, 0, 0, False)
        count = self._samples
        mean = self._sum // count if count else 0
        all_of_it = LoadSummary(mean, self._peak, count, self._saturated)
        self._clear()
        return all_of_it

    def _place(self, way: WayOut) -> None:
        if self._held is None:
            return
        (time, code), self._held = self._held, None
        if not _within(time, way):
            return
        if way.number != self._number:
            self._clear()
            self._number = way.number
        if code in LOAD_LIMITS:
            self._saturated = True
        elif self._samples < MOST:
            self._include(code)

    def _include(self, code: int) -> None:
        if self._samples == 0:
            self._first = self._peak = code
        elif abs(code - self._first) > abs(self._peak - self._first):
            self._peak = code
        self._sum += code
        self._samples += 1

    def _clear(self) -> None:
        self._first = self._peak = self._sum = self._samples = 0
        self._saturated = False


def _from(begin: int, time: int) -> bool:
    return (time - begin) % _TIME < _TIME // 2


def _within(time: int, way: WayOut) -> bool:
    return _from(way.left_at, time) and (way.under_way or not _from(way.end, time))
