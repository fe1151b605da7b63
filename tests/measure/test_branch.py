"""The covariance of quantised smooth motion is what many simulated phases show."""

import numpy as np
import pytest

from rig.measure.budget import Input
from rig.measure.drop.branch import _covariance, fit

BEND = Input("bend", 0.0, 1e-3)


@pytest.mark.parametrize("step", [0.5, 0.98, 3.01, 7.3])
def test_the_sawtooth_covariance_is_that_of_random_phases(step: float) -> None:
    rng = np.random.default_rng(7)
    x = step * np.arange(12) + 0.02 * np.arange(12) ** 2
    phase = rng.uniform(0, 1, (100_000, 1))
    error = np.floor(x + phase) + 0.5 - (x + phase)
    assert np.allclose(_covariance(x, 0.0), error.T @ error / len(phase), atol=1.5e-3)


def test_the_stated_u_is_the_scatter_of_the_speed_over_phases() -> None:
    # At 3.00 counts a sample the errors of neighbours are nearly equal: white noise would
    # be told wrongly here.
    rng = np.random.default_rng(8)
    time_s = np.arange(-0.06, -0.001, 0.001)
    speeds, told = [], []
    for _ in range(400):
        z = 3000 * -time_s - 20_000 * time_s**2 / 2 + rng.uniform(0, 1)
        made = fit(time_s, np.floor(z).astype(np.int64), 0.0, start_s=0.0, bend=BEND)
        assert made is not None
        speeds.append(made.speed)
        told.append(made.u_speed)
    spread = float(np.std(speeds))
    level = 20_000 / 3000 / np.sqrt(12)  # a/v times the phase's own deviation
    assert spread == pytest.approx(float(np.hypot(np.mean(told), level)), rel=0.15)


def test_extra_vibration_widens_u() -> None:
    rng = np.random.default_rng(9)
    time_s = np.arange(-0.1, -0.001, 0.001)
    z = -12_000 * time_s - 46_000 * time_s**2 / 2
    quiet = fit(time_s, np.floor(z).astype(np.int64), 0.0, start_s=0.0, bend=BEND)
    loud = np.floor(z + rng.normal(0, 1, len(z))).astype(np.int64)
    shaken = fit(time_s, loud, 0.0, start_s=0.0, bend=BEND)
    assert quiet is not None and shaken is not None
    assert shaken.u_speed > 2.5 * quiet.u_speed
    assert shaken.dof < 2 * len(z)


def test_five_samples_are_too_few() -> None:
    time_s = np.arange(5) / 1000
    assert fit(time_s, np.arange(5), 0.0, start_s=0.0, bend=BEND) is None
