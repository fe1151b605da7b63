"""The arm angle as the board sums it: 64 ten-bit conversions, eight in each of 8 ms."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rig.board.wire import ANGLE_SUM, PINS, TICK_HZ
from rig.virtual.arm.plant import Jig
from rig.virtual.arm.relaxation import Floats

IN_EACH_MS = 8
CONVERSION_TICKS = 208  # 13 cycles of an ADC clock of 125 kHz (ATmega328P data sheet)
HELD_TICKS = 24  # the input is held 1.5 such cycles after a conversion starts
STEPS = 1 << 10
CHANNEL = PINS["ANGLE"] - 14
_MIDDLES = (
    np.arange(ANGLE_SUM // IN_EACH_MS) * (TICK_HZ / 1000)
    + HELD_TICKS
    + (IN_EACH_MS - 1) / 2 * CONVERSION_TICKS
)


def middle_ticks(first_ticks: ArrayLike) -> Floats:
    """Mean times of the eight conversions of each millisecond, shape (n, 8).

    `first_ticks` are the starts of each sum's first conversion. Within the 0.8 ms of eight
    conversions the arm is taken to stand still: it turns by less than a step of the converter.
    """
    return np.atleast_1d(np.asarray(first_ticks, dtype=np.float64))[:, None] + _MIDDLES


def sums(ratio: Floats, noise_lsb: float, rng: np.random.Generator) -> NDArray[np.int64]:
    """Sums of ten-bit conversions of sensor ratios at `middle_ticks`, (n, 8) -> (n,)."""
    noise = rng.standard_normal((*ratio.shape, IN_EACH_MS), dtype=np.float32) * noise_lsb
    codes = np.floor((ratio * STEPS).astype(np.float32)[..., None] + noise)
    summed: NDArray[np.int64] = np.clip(codes, 0, STEPS - 1).sum(axis=(1, 2)).astype(np.int64)
    return summed


class AngleInput:
    """The board's angle input: a jig's sensor, or a code that `analog` puts there."""

    def __init__(self, jig: Jig | None, analog: dict[int, int], seed: int) -> None:
        self._jig, self._analog = jig, analog
        self._rng = np.random.default_rng(seed)

    def sums(self, starts_s: list[float]) -> list[int]:
        """Sums of conversions that start at these plant times."""
        if self._jig is None:
            return [ANGLE_SUM * self._analog.get(CHANNEL, 0) for _ in starts_s]
        at_s = middle_ticks(np.array(starts_s) * TICK_HZ) / TICK_HZ
        ratio = self._jig.angle_ratio(at_s)
        found: list[int] = sums(ratio, self._jig.nature.sensor.noise_lsb, self._rng).tolist()
        return found
