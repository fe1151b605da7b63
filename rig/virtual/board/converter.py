"""The bridge converter: 24 bits, its own oscillator, the mean of its last four periods.

Of the class of two-wire converters with gain 128; figures from their data sheet (noise and
settling from memory): `tests/published/adc24_*.json`.
"""

from collections import deque
from typing import Any, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rig.virtual.arm.relaxation import Floats

GAIN = 128
FULL_CODE = 1 << 23
EXCITATION_V = 5.0
SETTLING = 4  # conversions
NOISE_V = {80.0: 90e-9, 10.0: 50e-9}  # rms, at the input
SLOW_HZ = 10.0
RATE_LIMIT = 0.02  # of the oscillator (common practice, no source)
WINDOW_POINTS = 48
AHEAD = 32  # conversions worked out at once, for as long as nobody changes what is to come
FLOAT_S = 0.7  # an open input drifts away with this time constant
FLOAT_RATIO = 6e-3  # V/V it ends at, beyond full scale

FAULTS = {
    "load_missing": "the bridge converter gives no conversion",
    "load_stuck_low": "the converter's data line stays low",
    "load_ten_per_second": "the converter is strapped for 10 conversions a second",
    "load_reversed": "the cell's signal wires are swapped",
    "load_unplugged": "the cell is unplugged: the converter's input floats",
}


class Bridge(Protocol):
    """What the converter looks at."""

    @property
    def plan(self) -> object:
        """Another object whenever what the bridge will show has changed."""
        ...

    def bridge_ratio(self, t: ArrayLike) -> Floats:
        """Bridge output over excitation at times `t`."""
        ...


def code_of(ratio: Floats, excitation_v: float = EXCITATION_V) -> NDArray[np.int64]:
    """Codes of a bridge output (V/V), held at the ends of the range.

    Full scale is half the excitation over the gain, so the excitation itself cancels.
    """
    input_v = ratio * excitation_v
    codes = np.rint(input_v / (0.5 * excitation_v / GAIN) * FULL_CODE)
    return np.clip(codes, -FULL_CODE, FULL_CODE - 1).astype(np.int64)


class Converter:
    """Converts `jig`'s bridge by itself, whoever listens.

    Args:
        jig: the bridge.
        seed: of noise, phase and true rate.
        rate_hz: 80 or 10, as strapped.
        error: relative error of the oscillator (None: drawn within `RATE_LIMIT`).

    Attributes:
        period_s: true time from one conversion to the next.
        next_ready_s: plant time at which data-ready falls next; infinite when it never does.
    """

    def __init__(
        self, jig: Bridge, seed: int = 0, rate_hz: float = 80.0, error: float | None = None
    ) -> None:
        self._jig = jig
        self._rng = np.random.default_rng(seed)
        drawn = float(self._rng.uniform(-RATE_LIMIT, RATE_LIMIT))
        self._error = drawn if error is None else error
        self._strapped_hz = rate_hz
        self._faults: dict[str, float] = {}
        self._ready_s = 0.0
        self._ahead: deque[tuple[float, int]] = deque()
        self._plan: object = None
        self._rng_before: Any = None
        self.start(0.0)

    @property
    def rate_hz(self) -> float:
        """Nominal rate now."""
        return SLOW_HZ if "load_ten_per_second" in self._faults else self._strapped_hz

    @property
    def period_s(self) -> float:
        """True time between conversions."""
        return 1 / (self.rate_hz * (1 + self._error))

    @property
    def next_ready_s(self) -> float:
        """When the next conversion is done."""
        return float("inf") if self.dead else self._ready_s

    @property
    def dead(self) -> bool:
        """No conversion comes."""
        return "load_missing" in self._faults or self.stuck

    @property
    def stuck(self) -> bool:
        """The data line is low for ever."""
        return "load_stuck_low" in self._faults

    def start(self, t: float) -> None:
        """Power comes at `t`: the first conversion is out when the filter has settled."""
        self._forget_ahead()
        phase = float(self._rng.uniform(0.0, 1.0))
        self._ready_s = t + (SETTLING + phase) * self.period_s

    def fault(self, name: str, on: bool, t: float) -> None:
        """Bring about or mend one of `FAULTS` at `t`."""
        if name not in FAULTS:
            raise ValueError(f"no fault {name!r}; there are {', '.join(FAULTS)}")
        self._forget_ahead()
        was_dead, period = self.dead, self.period_s
        if on:
            self._faults.setdefault(name, t)
        else:
            self._faults.pop(name, None)
        if (was_dead and not self.dead) or period != self.period_s:
            self.start(t)

    def take(self, until_s: float) -> list[tuple[float, int]]:
        """Every conversion ready by `until_s` that was not taken yet: (ready, code)."""
        taken = []
        while self.next_ready_s <= until_s:
            if self._plan is not self._jig.plan or not self._ahead:
                self._look_ahead()
            taken.append(self._ahead.popleft())
            self._ready_s += self.period_s
        return taken

    def skip(self, until_s: float) -> int:
        """Let conversions pass unread; gives their number."""
        if until_s < self.next_ready_s:
            return 0
        self._forget_ahead()
        count = int((until_s - self._ready_s) / self.period_s) + 1
        self._ready_s += count * self.period_s
        return count

    def _look_ahead(self) -> None:
        """Work out the next conversions as they will be if nobody changes what is to come."""
        self._forget_ahead()
        self._plan, self._rng_before = self._jig.plan, self._rng.bit_generator.state
        ready: Floats = np.full(AHEAD, self.period_s)
        ready[0] = self._ready_s
        ready = np.cumsum(ready)
        self._ahead.extend(zip(ready.tolist(), self._codes(ready).tolist(), strict=True))

    def _forget_ahead(self) -> None:
        """What was worked out and not taken never was; its noise is drawn again."""
        if self._ahead:
            self._rng.bit_generator.state = self._rng_before
            self._rng.standard_normal(AHEAD - len(self._ahead))
            self._ahead.clear()

    def _codes(self, ready: Floats) -> NDArray[np.int64]:
        """Each conversion shows the mean of the input over the filter's window before it."""
        window = SETTLING * self.period_s
        within = (np.arange(WINDOW_POINTS) + 0.5) / WINDOW_POINTS * window
        ratio = self._jig.bridge_ratio(ready[:, None] - within).mean(axis=1)
        if "load_reversed" in self._faults:
            ratio = -ratio
        since = self._faults.get("load_unplugged")
        if since is not None:
            left = np.exp(-np.maximum(ready - since, 0.0) / FLOAT_S)
            ratio = FLOAT_RATIO + (ratio - FLOAT_RATIO) * left
        noise = NOISE_V[self.rate_hz] / EXCITATION_V
        return code_of(ratio + self._rng.normal(0.0, noise, len(ready)))
