"""From where on a calibrated instrument is good enough: the lower limit factor of ASTM E74."""

from dataclasses import dataclass

FACTOR = 2.4
"""Times the standard deviation about the curve (ASTM E74, clause 8)."""
CLASSES = {"AA": 2000, "A": 400}
"""Multiples of the lower limit factor from which a class begins (0.05 % and 0.25 %)."""
OWN = 100
"""The multiple from which our certificates begin: there the factor is 1 %."""


@dataclass(frozen=True)
class Range:
    """The certificate holds for values of this size, without sign."""

    low: float
    high: float


def lower_limit_factor(s: float, resolution: float) -> float:
    """2.4 s, or the resolution where that is coarser.

    Args:
        s: standard deviation of a reading about its curve, in units of the value.
        resolution: in the same unit.
    """
    return max(FACTOR * s, resolution)


def range_of(factor: float, smallest: float, largest: float) -> Range:
    """From the lower limit factor or the smallest known value, to the largest one."""
    return Range(max(OWN * factor, smallest), largest)
