"""Worlds of edge lives to simulate: in plain numpy, knowing nothing of the rule that judges them.

A world says how lives scatter, who is lost, when probes are made and when the test ends; `drawn`
gives the lives of one study as its probes tell them. Groups "alike" have equal medians.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

EULER = 0.5772156649015329
MEDIAN_CUTS = 1000.0


@dataclass(frozen=True)
class World:
    """Studies to simulate.

    Attributes:
        blades: in each group, the control first.
        shape: of ln(life): normal, weibull, t3, flawed (one in ten falls far short).
        scatter: of the groups over `sd`, the control first; missing ones are 1.
        sd: standard deviation of ln(life), about.
        probe_ratio: of neighbouring probes, which fall anywhere against the lives.
        first, ends: no probe is made earlier or later than so many `sd` from the control's median.
        lost: chance that a blade is lost.
        days: days that blades are dealt to in turn; each shifts its lives by `day` sd.
        loads: furnace loads of each recipe (0: one load of all), each shifting lives by `load` sd.
        truth: ln of the ratio of each other group to the control.
        mean: whether "alike" means equal mean logarithms in the place of medians.
    """

    blades: tuple[int, ...]
    shape: str = "normal"
    scatter: tuple[float, ...] = ()
    sd: float = 0.3
    probe_ratio: float = 1.1
    first: float = -math.inf
    ends: float = math.inf
    lost: float = 0.0
    days: int = 1
    day: float = 0.0
    loads: int = 0
    load: float = 0.0
    truth: tuple[float, ...] = ()
    mean: bool = False

    @property
    def name(self) -> str:
        """For the figure."""
        more = [
            f"scatters {':'.join(f'{x:g}' for x in self.scatter)}" if self.scatter else "",
            f"first probe at {self.first:+g}" if math.isfinite(self.first) else "",
            f"ends at {self.ends:+g}" if math.isfinite(self.ends) else "",
            f"{self.lost:.0%} lost" if self.lost else "",
            f"{self.days} days of {self.day:g}" if self.days > 1 else "",
            f"{self.loads} loads a recipe of {self.load:g}" if self.loads else "",
            "by means of logarithms" if self.mean else "",
        ]
        each = " v ".join(map(str, self.blades))
        head = f"{each} blades, {self.shape}, sd {self.sd:g}, probes {self.probe_ratio:g}"
        return ", ".join([head, *filter(None, more)])


@dataclass(frozen=True)
class Drawn:
    """One blade: its group and place there, load, day, and the ends of its life in cuts."""

    group: int
    load: str
    day: str
    low: float
    high: float


@lru_cache
def centre(shape: str, mean: bool) -> float:
    """Median (or mean) of the standard noise of a shape, from a million draws."""
    if shape in ("normal", "t3"):
        return 0.0
    many = _noise(shape, np.random.default_rng(9), 1_000_000)
    return float(many.mean() if mean else np.median(many))


def _noise(shape: str, rng: np.random.Generator, count: int) -> Array:
    if shape == "t3":
        return np.asarray(rng.standard_t(3, count) / math.sqrt(3))
    if shape == "weibull":
        return np.asarray((np.log(-np.log(rng.random(count))) + EULER) / (math.pi / math.sqrt(6)))
    z = rng.standard_normal(count)
    if shape == "flawed":
        z -= (rng.random(count) < 0.1) * rng.exponential(3.0, count)
    return np.asarray(z)


def drawn(world: World, rng: np.random.Generator) -> list[Drawn]:
    """The blades of one study that were not lost."""
    step = math.log(world.probe_ratio)
    phase = rng.uniform(0, step)
    first, last = (
        -math.inf if at == -math.inf else math.inf if at == math.inf else at * world.sd
        for at in (world.first, world.ends)
    )
    days = world.day * world.sd * rng.standard_normal(world.days)
    told = []
    for group, count in enumerate(world.blades):
        scatter = world.scatter[group] if group < len(world.scatter) else 1.0
        truth = world.truth[group - 1] if group and world.truth else 0.0
        loads = world.load * world.sd * rng.standard_normal(max(world.loads, 1))
        noise = _noise(world.shape, rng, count) - centre(world.shape, world.mean)
        for n, z in enumerate(noise):
            day, load = (n + group) % world.days, n % max(world.loads, 1)
            life = truth + scatter * world.sd * z + days[day] + (loads[load] if world.loads else 0)
            low, high = _probed(life, phase, step, first, last)
            if rng.random() >= world.lost:
                name = f"{group}.{load}" if world.loads else "one"
                told.append(Drawn(group, name, str(day), _cuts(low), _cuts(high)))
    return told


def _probed(
    life: float, phase: float, step: float, first: float, last: float
) -> tuple[float, float]:
    """Last probe passed and first one failed, as logarithms; infinite where there is none."""
    if life <= first:
        return -math.inf, first
    if life > last:
        return last, math.inf
    low = math.floor((life - phase) / step) * step + phase
    return max(low, first), min(low + step, last)


def _cuts(log_life: float) -> float:
    if math.isinf(log_life):
        return math.inf if log_life > 0 else 0.0
    return MEDIAN_CUTS * math.exp(log_life)
