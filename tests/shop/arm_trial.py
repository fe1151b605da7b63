"""A pry in a shop: what is wrong with arm, cell, converter and sensor, and what the board sends."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rig.bench import Bench
from rig.board.wire import ANGLE_SUM, CHANNELS, LOAD_LIMITS, Kind
from tests.shop import arm as plant
from tests.shop.sending import HZ, Sender

Rng = np.random.Generator
REST = Path(__file__).parents[1] / "recordings" / "bridge_converter" / "rest.csv"
ORDER = 3
"""Of the converter's sinc filter: one conversion sees so many periods before it."""
LONE_OUTLIERS = 26 / 239_000
"""Conversions at 10 to 20 times the scatter, in recordings of such converters."""
CODES_PER_RATIO = 128 * (1 << 24)


@dataclass(frozen=True)
class Sensing:
    """What stands between the arm and the numbers.

    Attributes:
        lever: true lever of the pull over that of the weights.
        drift_nm: how far the zero goes during the pull.
        creep: share of a load that comes late, with a time of some seconds.
        steps, steps_phase: non-linearity of the 10-bit conversion, in its steps.
        spoilt: what happens to one conversion, "" for none, and where: share of the record.
    """

    lever: float = 1.0
    drift_nm: float = 0.0
    creep: float = 0.0
    steps: float = 0.0
    steps_phase: float = 0.0
    spoilt: str = ""
    spoilt_in: str = "pull"
    spoilt_at: float = 0.5


@dataclass(frozen=True)
class Case:
    """An arm with a tip, and how it is read."""

    arm: plant.Arm
    sensing: Sensing = field(default_factory=Sensing)

    def having(self, **changed: Any) -> "Case":
        """The same with other figures."""
        tip = {k: v for k, v in changed.items() if k in plant.Tip.__dataclass_fields__}
        arm = {k: v for k, v in changed.items() if k in plant.Arm.__dataclass_fields__}
        rest = {k: v for k, v in changed.items() if k not in {**tip, **arm}}
        assert self.arm.tip is not None
        return Case(
            replace(self.arm, tip=replace(self.arm.tip, **tip), **arm),
            replace(self.sensing, **rest),
        )

    @property
    def breaks(self) -> float:
        """Angle at which this tip snaps."""
        assert self.arm.tip is not None
        return self.arm.tip.breaks_rad


Effect = Callable[[Case, Rng, float], Case]


def _between(rng: Rng, low: float, high: float, size: float = 1.0) -> float:
    return float(rng.uniform(low, high)) * size


EFFECTS: Mapping[str, Effect] = {
    "tip that softens": lambda c, r, s: c.having(
        softens=min(_between(r, 0.05, 0.2, s), 0.45),
        soft_from_rad=c.breaks * _between(r, 0.75, 0.9)),
    "crack in two steps": lambda c, r, s: c.having(
        crack_rad=c.breaks * _between(r, 0.8, 0.9),
        crack_share=min(_between(r, 0.06, 0.14, s), 0.4)),
    "clamp that slips at once": lambda c, r, s: c.having(
        slip_rad=math.radians(_between(r, 0.1, 0.25, s)), slip_from_nm=_between(r, 1, 2)),
    "clamp that slips slowly": lambda c, r, s: c.having(
        slip_rad=math.radians(_between(r, 0.2, 0.5, s)), slip_from_nm=_between(r, 1, 2),
        slip_over_rad=_between(r, 0.02, 0.04)),
    "weight of the blade": lambda c, r, s: c.having(
        blade_nm=_between(r, 0.05, 0.1, s) * plant.G * 0.1),
    "arm that flexes": lambda c, r, s: c.having(
        flex_rad_nm=math.radians(_between(r, 0.03, 0.06, s)) / 8),
    "friction under load": lambda c, r, s: c.having(load_friction=_between(r, 0.001, 0.002, s)),
    "zero that drifts": lambda c, r, s: c.having(
        drift_nm=float(r.choice((-1, 1))) * _between(r, 0.005, 0.015, s)),
    "cell that creeps": lambda c, r, s: c.having(creep=_between(r, 0.0002, 0.0019, s)),
    "conversions not linear": lambda c, r, s: c.having(
        steps=0.4 * s, steps_phase=_between(r, 0, 2 * math.pi)),
    "stirrup beside its groove": lambda c, r, s: c.having(
        lever=1 + float(r.choice((-1, 1))) * _between(r, 0.0006, 0.0009, s) / 0.3),
    "arm out of balance": lambda c, r, s: c.having(unbalanced_nm=_between(r, 0.02, 0.05, s)),
}  # fmt: skip
"""What a shop does to an arm, at a size that is one at nominal; by judgement, no source."""


def drawn(rng: Rng, effects: tuple[str, ...] = (), size: float = 1.0, wire: bool = False,
          bends: bool = False) -> Case:  # fmt: skip
    """A tip that snaps (or bends) on an arm in order, with these effects on it."""
    k, most = _between(rng, 40, 70), _between(rng, 3, 9)
    breaks = math.inf if bends else max(_between(rng, 0.7, 1.3) * most / k + 0.005, 0.065)
    tip = plant.Tip(k_nm_rad=k, most_nm=most if bends else 1.5 * most, breaks_rad=breaks)
    seconds = _between(rng, 7, 8)
    at = breaks if not bends else math.radians(42)
    rate = (at + tip.torque(at) / plant.HAND_K) / seconds
    case = Case(plant.Arm(tip, rate, wire=wire, unbalanced_nm=_between(rng, -0.008, 0.008)))
    for name in effects:
        case = EFFECTS[name](case, rng, size)
    return case


@dataclass(frozen=True)
class Fed:
    """One trial as the program gets it, with the readings round it, and its truth."""

    raw: bytes
    zero: bytes
    zero_after: bytes
    sweep: bytes
    settings: dict[str, Any]
    truth: dict[str, float]


SPOILS: Mapping[str, Callable[[int, Rng], int]] = {
    "doubled": lambda code, r: 2 * code,
    "cleared": lambda code, r: 0,
    "a bit flipped": lambda code, r: code ^ (1 << int(r.integers(10, 23))),
    "full scale": lambda code, r: LOAD_LIMITS[1] - 1,
}
"""What a bad wire makes of one conversion; a code at the very end is told as saturated."""


class Rig:
    """One cell, converter and sensor: the same from reading to reading."""

    def __init__(self, case: Case, bench: Bench, rng: Rng) -> None:
        """Drawn within what a certificate leaves open."""
        self.case, self.bench, self.rng = case, bench, rng
        cell, arm, sensor = bench.cell, bench.pry.arm, bench.pry.angle
        ratio_per_nm = cell.sensitivity_mv_v * 1e-3 / (cell.capacity_n * arm.length_m)
        self.per_nm = ratio_per_nm * CODES_PER_RATIO
        self.offset = int(rng.integers(-80_000, 80_000))
        self.per_rad = sensor.per_rad * 1024
        self.middle = (sensor.low_share + sensor.high_share) / 2 * 1024
        self.factor = 1 + float(rng.uniform(-0.004, 0.004))
        self.period_s = 1 / float(rng.uniform(78, 82))
        self.first = int(rng.integers(5, 60)) * HZ
        self.drift = 0.0

    def at_rest(self, spoilt: bool = False) -> bytes:
        """Hands off for the length of a reading."""
        grid = np.arange(0, self.bench.pry.calibration.read_s + 0.1, plant.GRID_S)
        return self.recorded(grid, np.zeros_like(grid), np.zeros_like(grid), 0.0, spoilt)

    def recorded(self, times: plant.Floats, pull_nm: plant.Floats, angle: plant.Floats,
                 drift_nm: float, spoilt: bool) -> bytes:  # fmt: skip
        """A stretch of load and angle, as the board sends it; the zero drifts on meanwhile."""
        sender = Sender()
        zero = self.drift + drift_nm * times / times[-1]
        self.drift += drift_nm
        at, codes = self._codes(times, self._crept(times, pull_nm) / self.case.sensing.lever + zero)
        if spoilt:
            which = min(int(self.case.sensing.spoilt_at * len(codes)), len(codes) - 1)
            own = np.random.default_rng(abs(codes[which]))  # the scatter stays as without it
            codes[which] = SPOILS[self.case.sensing.spoilt](codes[which], own)
        low, high = LOAD_LIMITS
        ticks = [self.first + round(t / self.factor * HZ) for t in at]
        sender.status(self.first, ticks[-1] + HZ // 5)
        sender.singles(Kind.LOAD, ticks, [min(max(code, low), high) for code in codes])
        sender.blocks(Kind.ANGLE, self.first, self._sums(times, angle))
        self.first = ticks[-1] + 3 * HZ
        return sender.sent()

    def _crept(self, times: plant.Floats, pull: plant.Floats) -> plant.Floats:
        share, tau = self.case.sensing.creep, 30.0
        if not share:
            return pull
        late = np.zeros_like(pull)
        keep = math.exp(-(times[1] - times[0]) / tau)
        for i in range(1, len(pull)):
            late[i] = keep * late[i - 1] + (1 - keep) * pull[i]
        return pull + share * late

    def _codes(self, times: plant.Floats, nm: plant.Floats) -> tuple[plant.Floats, list[int]]:
        """Conversions by a sinc filter, with a recorded converter's scatter."""
        step = times[1] - times[0]
        box = np.ones(max(round(self.period_s / step), 1))
        kernel = box / box.sum()
        for _ in range(ORDER - 1):
            kernel = np.convolve(kernel, box / box.sum())
        lead = np.concatenate([np.full(len(kernel) - 1, nm[0]), nm])
        seen = np.convolve(lead, kernel, "valid")
        at = np.arange(self.rng.uniform(0, self.period_s), times[-1], self.period_s)
        codes = np.interp(at, times, seen) * self.per_nm + self.offset + self._scatter(len(at))
        return at, [round(float(code)) for code in codes]

    def _scatter(self, count: int) -> plant.Floats:
        rest = recorded_rest()
        start = int(self.rng.integers(len(rest)))
        noise = np.resize(np.roll(rest, start), count) * self.rng.choice((-1, 1))
        lone = self.rng.random(count) < LONE_OUTLIERS
        far = self.rng.uniform(10, 20, count) * self.rng.choice((-1, 1), count)
        return np.asarray(noise + lone * far * float(np.std(rest)))

    def _sums(self, times: plant.Floats, angle: plant.Floats) -> list[int]:
        """64 conversions of 10 bits in 8 ms, each rounded down."""
        period = CHANNELS[Kind.ANGLE].period_ticks / HZ * self.factor
        starts = np.arange(0, times[-1] - period, period)
        each = starts[:, None] + np.arange(ANGLE_SUM)[None, :] * period / ANGLE_SUM
        steps = np.interp(each, times, angle) * self.per_rad + self.middle
        sensing = self.case.sensing
        steps += sensing.steps * np.sin(2 * np.pi * steps / 97 + sensing.steps_phase)
        steps += self.rng.normal(0, 0.5, steps.shape)
        return [int(s) for s in np.clip(np.floor(steps), 0, 1023).sum(axis=1)]

    def scales(self) -> dict[str, Any]:
        """Certificates as dead weights and stops would have left them, within their u."""
        u_load, u_angle, u_point = 0.001, 0.0008, math.radians(0.03)
        load = (0.0, (1 + float(self.rng.normal(0, u_load))) / self.per_nm)
        slope = (1 + float(self.rng.normal(0, u_angle))) / (self.per_rad * ANGLE_SUM)
        point = float(self.rng.normal(0, u_point))
        angle = (point - (self.middle - 0.5) * ANGLE_SUM * slope, slope)
        capacity = self.bench.cell.capacity_n * self.bench.pry.arm.length_m
        common = {"dof": None, "low": 0.0, "source": "certificate"}
        return {
            "load": {"right": load, "left": load, "u_relative": u_load, "u_absolute": 0.0005,
                     "high": capacity, "unit": "N.m", **common},
            "angle": {"right": angle, "left": angle, "u_relative": u_angle, "u_absolute": u_point,
                      "high": math.radians(52), "unit": "rad", **common},
        }  # fmt: skip


@cache
def recorded_rest() -> NDArray[np.float64]:
    """Codes about their mean, of a converter with nothing pulling at its cell."""
    codes = np.loadtxt(REST, skiprows=1)
    return np.asarray(codes - codes.mean())


@dataclass(frozen=True)
class Motions:
    """The bare arm's sweep, and the pull."""

    bare: plant.Pulled
    pulled: plant.Pulled


def moved(case: Case) -> Motions:
    """What the arm does, before anything is read."""
    bare = replace(case.arm, tip=None, rate_rad_s=0.09, slip_rad=0.0)  # the blade in, its tip free
    return Motions(plant.pulled(bare), plant.pulled(case.arm))


def feed(case: Case, bench: Bench, rng: Rng, motions: Motions | None = None) -> Fed:
    """Zero, bare sweep, pry and zero, as the board would have sent them."""
    rig, where = Rig(case, bench, rng), case.sensing.spoilt_in if case.sensing.spoilt else ""
    motions = motions or moved(case)
    bare, pulled = motions.bare, motions.pulled
    zero = rig.at_rest(where == "zero")
    sweep = rig.recorded(bare.times_s, bare.pull_nm, bare.angle_rad, 0.0, where == "sweep")
    raw = rig.recorded(
        pulled.times_s, pulled.pull_nm, pulled.angle_rad, case.sensing.drift_nm, where == "pull"
    )
    after = rig.at_rest(where == "zero after")
    tip = case.arm.tip
    assert tip is not None
    settings = {
        "jig": bench.pry.model_dump(mode="json"),
        "cell": bench.cell.model_dump(mode="json"),
        "scales": rig.scales(),
        "section": {"thickness_m": 0.002, "width_m": 0.01, "section_at_m": 0.0,
                    "u_section_m": 3e-5},
        "bridge_spikes": True,
        "rule": 2,
        "side": "right",
        "ended": "failed" if math.isfinite(tip.breaks_rad) else "angle_limit",
        "time_base": {"factor": rig.factor, "u": 2e-5, "source": "beats"},
    }  # fmt: skip
    return Fed(raw, zero, after, sweep, settings, pulled.truth)
