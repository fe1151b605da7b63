"""The board's channels of samples, once more in Python: height, load and arm angle.

All times are the board's own: `ms` counts its millisecond beats, ticks its 2 MHz clock.
"""

from collections.abc import Callable

from rig.board import wire
from rig.board.wire import CHANNELS, LIMITS, Event, Kind, LoadFault
from rig.virtual.board.converter import Converter
from rig.virtual.board.reporter import Reporter

TICKS_PER_MS = wire.TICK_HZ // 1_000
FOREVER_MS = 1 << 40
READ_S = 0.2e-3  # from data-ready to the last bit read
SILENT_MS = LIMITS["LOAD_SILENT_MS"]
HEIGHT_BLOCK = CHANNELS[Kind.HEIGHT].block
ANGLE_BLOCK = CHANNELS[Kind.ANGLE].block
ANGLE_MS = CHANNELS[Kind.ANGLE].period_ticks // TICKS_PER_MS

AngleSums = Callable[[list[int]], list[int]]  # of sums that start at these ticks


class HeightChannel:
    """The encoder's count each millisecond, in blocks."""

    def __init__(self, reporter: Reporter) -> None:
        self._reporter = reporter
        self._block: list[int] | None = None
        self._block_ticks = 0

    def stream(self, on: bool) -> None:
        """Begin or end; nothing changes when it is so already."""
        if on != (self._block is not None):
            self._block = [] if on else None

    def idle_ms(self) -> int:
        """Milliseconds to the next frame."""
        return FOREVER_MS if self._block is None else HEIGHT_BLOCK - len(self._block)

    def skip(self, ms: int, count: int, position: int) -> None:
        """`count` samples of the same position after `ms`, too few to fill the block."""
        if self._block is not None:
            if not self._block:
                self._block_ticks = (ms + 1) * TICKS_PER_MS
            self._block += [position] * count

    def tick(self, ms: int, position: int, now_s: float) -> None:
        """The sample of one millisecond."""
        self.skip(ms - 1, 1, position)
        if self._block is not None and len(self._block) == HEIGHT_BLOCK:
            self._reporter.height(self._block, self._block_ticks, now_s)
            self._block = []


class AngleChannel:
    """Sums of the arm angle's conversions, in blocks. They are asked for when a block is full."""

    def __init__(self, reporter: Reporter, sums: AngleSums) -> None:
        self._reporter, self._sums = reporter, sums
        self._first_ms: int | None = None

    def stream(self, on: bool, ms: int) -> None:
        """Begin with the next millisecond, or end; nothing changes when it is so already."""
        if on != (self._first_ms is not None):
            self._first_ms = ms + 1 if on else None

    def idle_ms(self, ms: int) -> int:
        """Milliseconds to the next frame."""
        if self._first_ms is None:
            return FOREVER_MS
        return self._first_ms + ANGLE_BLOCK * ANGLE_MS - ms

    def tick(self, ms: int, now_s: float) -> None:
        """One more millisecond; the beat after a full block sends it."""
        if self._first_ms is None or self.idle_ms(ms) > 0:
            return
        starts = [(self._first_ms + i * ANGLE_MS) * TICKS_PER_MS for i in range(ANGLE_BLOCK)]
        self._reporter.angle(self._sums(starts), starts[0], now_s)
        self._first_ms = ms


class LoadChannel:
    """The bridge converter's codes, each with the time of its data-ready edge, and its faults.

    `converter` None: nothing is wired to the pins, which pull-ups hold high. `heard(ticks, code)`
    is told of every code that goes out.
    """

    def __init__(
        self,
        reporter: Reporter,
        converter: Converter | None,
        heard: Callable[[int, int], None],
    ) -> None:
        self._reporter, self._converter, self._heard = reporter, converter, heard
        self._on = False
        self._fault = LoadFault.NONE
        self._heard_ms = 0
        self._line_low = False
        self._sure = True  # that the next edge is a conversion's, not a mended wire's

    def stream(self, on: bool, ms: int, now_s: float) -> None:
        """Begin or end; faults are told anew each time it begins.

        A conversion that waits as it begins is read and thrown away: nobody knows how old it is.
        """
        if on == self._on:
            return
        self._on, self._heard_ms, self._fault = on, ms, LoadFault.NONE
        if self._converter is not None:
            self._converter.skip(now_s)
            self._line_low = self._converter.stuck
        self._sure = not self._line_low

    @property
    def next_s(self) -> float:
        """When the next conversion will have been read."""
        if not self._on or self._converter is None:
            return float("inf")
        return self._converter.next_ready_s + READ_S

    def idle_ms(self, ms: int) -> int:
        """Milliseconds to the next look at a silent converter; the last is not yet one."""
        return self._heard_ms + SILENT_MS - ms if self._on else FOREVER_MS

    def read(self, ms: int, now_s: float, ticks: Callable[[float], int]) -> None:
        """Send what is ready by `now_s`; the first after a fault is not believed."""
        if self._converter is None:
            return
        for ready_s, code in self._converter.take(now_s - READ_S / 2):
            self._heard_ms = ms
            if not self._sure:
                self._sure = True
                continue
            self._tell(LoadFault.NONE, ticks(now_s), now_s)
            self._reporter.load(code, ticks(ready_s), now_s)
            self._heard(ticks(ready_s), code)

    def tick(self, ms: int, ticks: int, now_s: float) -> None:
        """Notice a data line that fell and stays low, and silence."""
        if not self._on:
            return
        stuck = self._converter is not None and self._converter.stuck
        if stuck and not self._line_low:
            self._heard_ms = ms
            if self._sure:
                self._reporter.count("discarded")
                self._tell(LoadFault.STUCK, ticks, now_s)
            self._sure = False
        elif ms - self._heard_ms >= SILENT_MS:
            self._heard_ms, self._sure = ms, False
            self._tell(LoadFault.STUCK if stuck else LoadFault.MISSING, ticks, now_s)
        self._line_low = stuck

    def _tell(self, fault: LoadFault, ticks: int, now_s: float) -> None:
        if fault is self._fault:
            return
        self._fault = fault
        if fault is not LoadFault.NONE:
            self._reporter.count("faults")
        self._reporter.event(Event.LOAD, fault, 0, ticks)
        self._reporter.flush(now_s)
