"""Ways of a carriage between its switches, by hand or by a crank; pure."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
STEP_S = 1e-3


@dataclass(frozen=True)
class Way:
    """Places of the carriage at times, a millisecond apart; it stays where the way ends.

    Attributes:
        t, x: plant time in seconds and place in m from home, shape (n,).
        force_n: of the cut, at each time, shape (n,).
    """

    t: Floats
    x: Floats
    force_n: Floats

    def place(self, t: float) -> float:
        """Where it is."""
        return float(np.interp(t, self.t, self.x))

    def until(self, t: float) -> "Way":
        """The way broken off at `t`."""
        keep = self.t < t
        x = np.append(self.x[keep], self.place(t))
        return Way(np.append(self.t[keep], t), x, np.append(self.force_n[keep], 0.0))

    def crossings(self, at_m: float) -> list[tuple[float, bool]]:
        """Times at which it passes a place, and whether outward."""
        beyond = self.x > at_m
        index = np.flatnonzero(beyond[1:] != beyond[:-1])
        share = (at_m - self.x[index]) / (self.x[index + 1] - self.x[index])
        times = self.t[index] + share * (self.t[index + 1] - self.t[index])
        return list(zip(times.tolist(), beyond[index + 1].tolist(), strict=True))


def by_hand(start_s: float, turns_m: list[float], lasts_s: float) -> tuple[Floats, Floats]:
    """Times and places of a hand that goes from the first place to each of the others in turn.

    Every part is a least-jerk motion (Flash and Hogan 1985, from memory) and takes its share of
    the time by its length.
    """
    lengths = np.abs(np.diff(turns_m))
    spans = np.maximum(lasts_s * lengths / max(float(lengths.sum()), 1e-9), 0.05)
    t, x = [np.array([start_s])], [np.array([turns_m[0]])]
    for begin, end, span in zip(turns_m, turns_m[1:], spans, strict=False):
        n = max(2, math.ceil(span / STEP_S))
        u = np.arange(1, n + 1) / n
        t.append(t[-1][-1] + span * u)
        x.append(begin + (end - begin) * u**3 * (10 - 15 * u + 6 * u * u))
    return np.concatenate(t), np.concatenate(x)


def crank(phase: Floats, length_m: float) -> Floats:
    """Place of the carriage at a crank's angle: home at 0, out at pi."""
    place: Floats = length_m / 2 * (1 - np.cos(phase))
    return place


def cutting(t: Floats, x: Floats, zone_m: tuple[float, float], size_n: float) -> Floats:
    """Force along a way: within the zone, on the way out, rising and falling as the strip does."""
    share = np.clip((x - zone_m[0]) / (zone_m[1] - zone_m[0]), 0.0, 1.0)
    outward = np.gradient(x, t) > 0 if len(t) > 1 else np.zeros_like(x, dtype=bool)
    return np.where(outward, size_n * math.pi / 2 * np.sin(math.pi * share), 0.0)
