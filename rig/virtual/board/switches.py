"""The carriage's end switches as the board has them: sampled, judged, told."""

from rig.board.wire import LIMITS, Event, Stroke
from rig.virtual.board.drive import Drive
from rig.virtual.board.reporter import Reporter
from rig.virtual.board.stroke_load import StrokeLoad
from rig.virtual.board.strokes import JudgedStroke, Strokes

COUNTS_MS = LIMITS["COUNTS_PERIOD_MS"]
_REJECTS = [kind for kind in Stroke if kind is not Stroke.COUNTED]


class Switches:
    """Strokes with the load on their way out.

    `levels` of the pins as `Wiring.levels` gives them; kept up to date by `edge`.
    """

    def __init__(self, levels: dict[str, int], reporter: Reporter) -> None:
        self._levels = {pin: levels[pin] for pin in ("NEAR", "FAR")}
        self._reporter = reporter
        self.strokes = Strokes(*self._closed())
        self._load = StrokeLoad()
        self._judged: JudgedStroke | None = None

    def edge(self, pin: str, level: int) -> None:
        """A pin changed; nothing happens before the next sample."""
        self._levels[pin] = level

    @property
    def quiet(self) -> bool:
        """Nothing changes by itself while the drive rests."""
        return self.strokes.resting(*self._closed())

    def idle_ms(self, ms: int) -> int:
        """Milliseconds to the next frame."""
        return COUNTS_MS - ms % COUNTS_MS

    def sample(self, moving: bool, ticks: int) -> None:
        """The sampler's millisecond."""
        strokes = self.strokes
        self._judged = strokes.tick(*self._closed(), moving, ticks)
        if strokes.near_changed is not None:
            self._reporter.event(Event.NEAR, int(strokes.near), 0, strokes.near_changed)
        if strokes.far_changed is not None:
            self._reporter.event(Event.FAR, int(strokes.far), 0, strokes.far_changed)

    def conversion(self, ticks: int, code: int) -> None:
        """A conversion of the load cell, ready at `ticks`."""
        self._load.add(ticks, code, self.strokes.way)

    def tell(self, ms: int, ticks: int, t: float, drive: Drive) -> None:
        """The main loop's part of a millisecond."""
        judged, self._judged = self._judged, None
        if judged is not None:
            self._tell_stroke(judged, t)
        self._load.settle(ticks, self.strokes.way)
        if judged is not None or ms % COUNTS_MS == 0:
            self._tell_counts(ticks, t, drive)

    def _closed(self) -> tuple[bool, bool]:
        return not self._levels["NEAR"], not self._levels["FAR"]

    def _tell_stroke(self, judged: JudgedStroke, t: float) -> None:
        load = self._load.take(judged.way)
        values = {
            "number": judged.number,
            "verdict": judged.verdict,
            "out_ms": judged.out_ms,
            "back_ms": judged.back_ms,
            "mean": load.mean,
            "peak": load.peak,
            "samples": load.samples,
            "saturated": int(load.saturated),
        }
        self._reporter.stroke(values, judged.time, t)

    def _tell_counts(self, ticks: int, t: float, drive: Drive) -> None:
        strokes = self.strokes
        values = {kind.name.lower(): strokes.totals[kind] % (1 << 14) for kind in _REJECTS} | {
            "counted": strokes.counted,
            "switches": strokes.near | strokes.far << 1,
            "drive": drive.state,
            "drive_reason": drive.reason,
            "target_left": drive.target_left(strokes.counted),
        }
        self._reporter.counts(values, ticks, t)
