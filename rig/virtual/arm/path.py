"""How a hand leads the arm: smooth starts and ends, an uneven rate, a tremor."""

import math
from typing import NamedTuple

import numpy as np

from rig.virtual.arm.relaxation import Floats
from rig.virtual.arm.truth import HandTruth

STEP_S = 1e-3
EASE_S = 0.25  # to get up to speed, and to slow down
SHORTEST_S = 0.5
WOBBLES_HZ = (0.7, 1.7)


class Path(NamedTuple):
    """Times (from 0, steps of `STEP_S`) and arm angles."""

    t: Floats
    angle: Floats


def lead(start: float, end: float, rate: float, hand: HandTruth, rng: np.random.Generator) -> Path:
    """From one angle to another at about `rate` (rad/s, positive)."""
    duration = max(SHORTEST_S, abs(end - start) / rate + EASE_S)
    t = grid(duration)
    return Path(t, start + (end - start) * _share(t, hand, rng) + _tremor(t, hand, rng))


def hold(angle: float, duration: float, hand: HandTruth, rng: np.random.Generator) -> Path:
    """Keep the arm where it is."""
    t = grid(duration)
    return Path(t, angle + _tremor(t, hand, rng))


def swing(
    middle: float, amplitude: float, cycles: int, rate: float, hand: HandTruth,
    rng: np.random.Generator,
) -> Path:  # fmt: skip
    """`cycles` to and fro about `middle`, starting to the right, at a mean of `rate` (rad/s)."""
    t = grid(cycles * 4 * amplitude / rate + EASE_S)
    turned = np.sin(2 * math.pi * cycles * _share(t, hand, rng))
    return Path(t, middle + amplitude * turned + _tremor(t, hand, rng))


def grid(duration: float) -> Floats:
    """Times from 0 to about `duration` in steps of `STEP_S`."""
    steps = max(2, round(duration / STEP_S))
    return np.linspace(0.0, steps * STEP_S, steps + 1)


def _share(t: Floats, hand: HandTruth, rng: np.random.Generator) -> Floats:
    """Share of a way made by each time: from rest to rest, at an uneven rate."""
    pace = _ease(t / EASE_S) * _ease((t[-1] - t) / EASE_S)
    for hertz in WOBBLES_HZ:
        phase = rng.uniform(0, 2 * math.pi)
        pace *= 1 + hand.rate_wobble / 2 * np.sin(2 * math.pi * hertz * t + phase)
    way = np.concatenate([[0.0], np.cumsum((pace[1:] + pace[:-1]) / 2)])
    share: Floats = way / way[-1]
    return share


def _ease(u: Floats) -> Floats:
    u = np.clip(u, 0.0, 1.0)
    return u * u * (3 - 2 * u)


def _tremor(t: Floats, hand: HandTruth, rng: np.random.Generator) -> Floats:
    turn = 2 * math.pi * hand.tremor_hz * t + rng.uniform(0, 2 * math.pi)
    window = _ease(t / EASE_S) * _ease((t[-1] - t) / EASE_S)
    tremor: Floats = hand.tremor_rad * window * np.sin(turn)
    return tremor
