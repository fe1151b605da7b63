"""The part of the strike's speed with which the drum still moves when the specimen lets go."""

import numpy as np
import pytest

from rig.measure.drop.rebound import SWING, U_SWING


def test_the_drum_swing_is_what_its_equation_of_motion_gives() -> None:
    # Drum on the wire of a carriage that turns round with a half-sine push of length T:
    # q'' + 2 r q' + w^2 q = -a(t), change of carriage speed 1; wanted is q'(T).
    rng = np.random.default_rng(11)
    n, steps = 20_000, 400
    length = rng.uniform(0.5e-3, 3e-3, n)
    w = 2 * np.pi * rng.uniform(350, 700, n)
    decay = rng.uniform(300, 1000, n)
    q, p = np.zeros(n), np.zeros(n)
    step = length / steps
    for i in range(steps):
        push = np.pi / 2 / length * np.sin(np.pi * (i + 0.5) / steps)
        p += step * (-push - 2 * decay * p - w**2 * q)
        q += step * p
    assert float(p.mean()) == pytest.approx(SWING, abs=0.01)
    assert float(p.std()) == pytest.approx(U_SWING, abs=0.01)
