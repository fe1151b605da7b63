"""Small pry records with exact truth: a curve, a steady hand, a converter that means over four.

Nothing of the virtual jig is in here: torque is a formula of the angle, the angle a formula of
time, and each code the mean of 200 torques within its four periods.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from rig.board.wire import TICK_HZ
from rig.measure.arm.facts import ArmRecord, Limits, PryFacts
from rig.measure.arm.sweep import NOTHING
from rig.measure.budget import Input
from rig.measure.scales import Scale

Array = np.ndarray
PERIOD_S = 0.0125
CODE_NM = 2e-6
SUM_RAD = math.radians(120.0) / (0.8 * 1023 * 64)
MIDDLE_SUM = 0.5 * 1023 * 64
ZERO = 80_000.0
STIFF = 20.0
NOISE_CODES = 30.0
STOP_RAD = math.radians(52)


@dataclass(frozen=True)
class Pull:
    """Angle in time: rest, out to `to_rad` at a steady rate, hold, back to zero, rest.

    `jump_rad` is how far the arm runs on when the torque is lost at `lost_rad`.
    """

    to_rad: float = math.radians(12)
    rate: float = math.radians(1.5)
    rest_s: float = 0.5
    hold_s: float = 0.5
    back_rate: float = math.radians(15)
    lost_rad: float = math.inf
    jump_rad: float = math.radians(3)

    def out_s(self) -> float:
        """When the arm is at its furthest, or where the torque was lost."""
        return self.rest_s + min(self.to_rad, self.lost_rad) / self.rate

    def angle(self, t: Array) -> Array:
        """Arm angle at times."""
        way = np.clip((t - self.rest_s) * self.rate, 0.0, min(self.to_rad, self.lost_rad))
        far, since = min(self.to_rad, self.lost_rad), t - self.out_s()
        if self.lost_rad < self.to_rad:
            # Set free: 200 rad/s^2 at first, then held by the hand.
            way = way + self.jump_rad * (
                1 - np.exp(-(np.maximum(since, 0.0) ** 2) * 100 / self.jump_rad)
            )
            far += self.jump_rad
        back = np.maximum(since - self.hold_s, 0.0) * self.back_rate
        return np.maximum(way - np.minimum(back, far), 0.0)


def spring(pull: Pull, stiffness: float = STIFF) -> Callable[[Array], Array]:
    """A straight spring that is lost at `lost_rad`."""
    return lambda t: np.where(
        (pull.lost_rad < pull.to_rad) & (t > pull.out_s()), 0.0, stiffness * pull.angle(t)
    )


def bending(
    pull: Pull, yield_nm: float = 2.0, slope: float = 0.5, stiffness: float = STIFF
) -> Callable[[Array], Array]:
    """A spring that bends for good from `yield_nm` on, its torque rising by `slope` from there."""
    return lambda t: bent(pull, t, yield_nm, slope, stiffness)


def bent(pull: Pull, t: Array, yield_nm: float, slope: float, stiffness: float) -> Array:
    """Torque of the bending spring, elastic from the furthest angle back."""
    angle = pull.angle(t)
    furthest = np.where(t > pull.out_s(), pull.to_rad, angle)
    limit = np.where(
        furthest * stiffness < yield_nm,
        furthest * stiffness,
        yield_nm + slope * (furthest - yield_nm / stiffness),
    )
    return np.maximum(limit - stiffness * (furthest - angle), 0.0)


def slipping(pull: Pull, at_rad: float, by_rad: float) -> Callable[[Array], Array]:
    """A spring whose seat gives way once by an angle and holds again."""

    def torque(t: Array) -> Array:
        angle = pull.angle(t)
        slipped = (angle >= at_rad) | (t > pull.out_s())
        return np.maximum(STIFF * (angle - by_rad * slipped), 0.0)

    return torque


def record(
    pull: Pull,
    torque: Callable[[Array], Array] | None = None,
    seed: int = 1,
    phase: float = 0.3,
    alone: Callable[[Array], Array] | None = None,
    period_s: float = PERIOD_S,
    **changes: object,
) -> ArmRecord:
    """The record of a pull; `changes` are fields of ArmRecord.

    Args:
        pull: the angle.
        torque: of the specimen in time; left out, `spring(pull)`.
        seed: of the noise.
        phase: of the converter, in periods.
        alone: torque the arm takes by itself, of its angle.
        period_s: of the converter.
    """
    rng = np.random.default_rng(seed)
    of = torque or spring(pull)
    end_s = pull.out_s() + pull.hold_s + pull.to_rad / pull.back_rate + 1.0
    ready = np.arange(5 + phase, end_s / period_s) * period_s
    within = (np.arange(200) + 0.5) / 200 * 4 * period_s
    times = ready[:, None] - within
    felt = of(times) + (alone(pull.angle(times)) if alone else 0.0)
    codes = np.rint(felt.mean(axis=1) / CODE_NM + ZERO + rng.normal(0, NOISE_CODES, len(ready)))
    starts = np.arange(0, end_s - 0.008, 0.008)
    parts = (np.arange(64) // 8) * 1e-3 + (np.arange(64) % 8) * 104e-6 + 12e-6
    turned = pull.angle(starts[:, None] + parts).mean(axis=1)
    sums = np.rint(turned / SUM_RAD + MIDDLE_SUM + rng.normal(0, 4, len(starts)))
    made = ArmRecord(
        load_ticks=np.rint(ready * TICK_HZ).astype(np.int64),
        codes=codes.astype(np.int64),
        angle_ticks=np.rint(starts * TICK_HZ).astype(np.int64),
        sums=sums.astype(np.int64),
        zero=Input("zero", ZERO, 2.0, 40, "", "code"),
        zero_after=Input("zero_after", ZERO, 2.0, 40, "", "code"),
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def limits(**changes: float) -> Limits:
    """Of a bench that suits the traces."""
    made = Limits(
        preload_nm=0.05,
        onset_offset_rad=math.radians(0.5),
        rate_low_rad_s=math.radians(1.0),
        rate_high_rad_s=math.radians(12.0),
        ramp_low_s=2.0,
        ramp_high_s=10.0,
        torque_limit_nm=12.0,
        angle_limit_rad=math.radians(45),
        stop_rad=STOP_RAD,
        drift_limit_share=0.005,
        under_read_limit_share=0.01,
    )
    return replace(made, **changes)


def facts(**changes: object) -> PryFacts:
    """A jig that knows its scales well; `changes` are fields of PryFacts."""
    line = (0.0, CODE_NM)
    turn = (-MIDDLE_SUM * SUM_RAD, SUM_RAD)
    made = PryFacts(
        torque=Scale(line, line, 0.001, 0.002, math.inf, 0.2, 16.0, "N.m", "load certificate"),
        angle=Scale(
            turn, turn, 0.0, math.radians(0.05), math.inf, 0.0, math.radians(60), "rad",
            "angle certificate",
        ),
        sweep=NOTHING,
        free_m=Input("free", 0.025, 0.0005, math.inf, "bench", "m"),
        u_align_rad=math.radians(0.5),
        time_base=Input("time_base", 1.0, 1e-5),
        limits=limits(),
    )  # fmt: skip
    return replace(made, **changes)  # type: ignore[arg-type]


def broken(**changes: float) -> Pull:
    """A pull whose specimen breaks at 8 degrees (2.79 N.m)."""
    return replace(Pull(lost_rad=math.radians(8)), **changes)
