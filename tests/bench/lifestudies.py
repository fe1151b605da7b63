"""Verdicts on edge life: simulated studies judged by the real rule, from probes to verdict.

Lives scatter log-normally, probes are a ratio apart and fall anywhere against them. Counted are
studies with any false "difference shown" (all groups alike), and with any false "ruled out" (the
others' medians at the margin). Scatters are alike, or one group's is twice the others'.
"""

import math
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from rig.measure.life import Life, log_sd_of
from rig.study.lives import OF_ONE, compare_lives
from rig.study.verdict import LEVEL, RULED_OUT, SHOWN
from rig.study.welch import detectable
from tests.bench.figure import at_most, figure

STUDIES = 2_000
SEED = 31
FALSE_LIMIT = 0.055
NO_END = 6.0


@dataclass(frozen=True)
class World:
    """Studies to simulate.

    Attributes:
        blades: in each group, the control first.
        cv: scatter of lives; `uneven` times that in the control.
        probe_ratio: of neighbouring probes.
        ends: the test ends so many scatters above the control's median life.
        shift: true ratio of the others to the control, over the margin (0: alike; 1 and -1: at it).
        ratio: true ratio where it is none of these.
    """

    blades: tuple[int, ...]
    cv: float
    probe_ratio: float
    uneven: float = 1.0
    ends: float = NO_END
    shift: int = 0
    ratio: float | None = None

    @property
    def margin(self) -> float:
        """Wide against the scatter, so that "ruled out" is often tempting."""
        sd = math.hypot(log_sd_of(self.cv) * self.uneven, math.log(self.probe_ratio) / 3)
        return math.exp(6 * sd / math.sqrt(min(self.blades)))

    @property
    def name(self) -> str:
        """For the figure."""
        told = f"{self.blades} blades, scatter {self.cv:.0%}, probes {self.probe_ratio:g}"
        more = f", control scatters {self.uneven:g} times" * (self.uneven != 1)
        return told + more + f", end at {self.ends:+g} scatters" * (self.ends < NO_END)


WORST = (
    World((5, 5), 0.3, 1.1, 2.0),
    World((3, 8), 0.3, 1.1, 2.0),
    World((4, 4), 0.25, 1.2, ends=0.7),
    World((6, 6), 0.25, 1.2, ends=0.0),
    World((3, 3), 0.3, 1.1, 2.0, shift=1),
    World((3, 3), 0.3, 1.1, 2.0, shift=-1),
    World((4, 4, 4), 0.3, 1.1, 2.0, shift=1),
)
"""Of all `worlds` those with the most false verdicts (600 studies of each); the bench's."""


def worlds() -> Iterator[World]:
    """From easy to nasty; survivors only where the groups are alike or the control is longer."""
    for shift in (0, 1, -1):
        for blades in ((3, 3), (5, 5), (3, 8), (8, 3), (4, 4, 4)):
            for cv, probe_ratio in ((0.15, 1.25), (0.3, 1.1)):
                for uneven in (1.0, 2.0):
                    yield World(blades, cv, probe_ratio, uneven, shift=shift)
    for shift in (0, -1):
        for blades in ((4, 4), (6, 6)):
            for ends in (0.7, 0.0):
                yield World(blades, 0.25, 1.2, ends=ends, shift=shift)


def study(world: World, rng: np.random.Generator) -> list[Life]:
    """Lives of one study as its probes tell them, on the log scale about the control's median."""
    step, sd = math.log(world.probe_ratio), log_sd_of(world.cv)
    phase = rng.uniform(0, step)

    def probe_before(life: float) -> float:
        return math.floor((life - phase) / step) * step + phase

    last, told = probe_before(world.ends * sd + 3), []
    if world.ends < NO_END:
        last = probe_before(world.ends * sd)
    for at, count in enumerate(world.blades):
        true = world.ratio or world.margin**world.shift
        centre = math.log(true) if at else 0.0
        own = sd * (world.uneven if at == 0 else 1.0)
        for n, life in enumerate(centre + own * rng.standard_normal(count)):
            low = min(probe_before(life), last)
            told.append(_life(f"{at}.{n}", str(at), low, math.inf if low == last else low + step))
    return told


def _life(name: str, group: str, low: float, high: float) -> Life:
    return Life(name, group, 1000 * math.exp(low), 1000 * math.exp(high))


def false_share(world: World, studies: int = STUDIES, seed: int = SEED) -> float:
    """Share of studies with a false verdict on any comparison."""
    rng = np.random.default_rng(seed)
    names = [str(at) for at in range(len(world.blades))]
    wrong = SHOWN if world.shift == 0 else RULED_OUT
    count = 0
    for _ in range(studies):
        told = compare_lives(study(world, rng), names, "0", world.margin)
        count += any(c.verdict == wrong for c in told.comparisons)
    return count / studies


def found_share(world: World, studies: int = STUDIES // 2, seed: int = SEED) -> float:
    """Share of studies that show a true ratio as large as a study of this kind says it finds."""
    rng = np.random.default_rng(seed)
    scatter = math.hypot(log_sd_of(world.cv), math.log(world.probe_ratio) / math.sqrt(12))
    freedom = world.blades[0] - 1
    shifts = detectable(LEVEL, freedom, freedom, 0.5, OF_ONE)
    true = math.exp(scatter * math.sqrt(2 / world.blades[0]) * shifts)
    count = 0
    for _ in range(studies):
        told = compare_lives(study(replace(world, ratio=true), rng), ["0", "1"], "0", true)
        count += told.verdict == SHOWN
    return count / studies


def figures() -> list[dict[str, Any]]:
    """The worst worlds, each by itself; and what a study says it finds."""
    finding = [World((n, n), 0.2, 1.2) for n in (5, 8)]
    with ProcessPoolExecutor(2) as pool:
        shares = list(pool.map(false_share, WORST))
        found = list(pool.map(found_share, finding))
    return [
        *(
            at_most(f'studies of {STUDIES:,} with a false "{_verdict(world)}" on edge life: '
                    f"{world.name}", share, "share", FALSE_LIMIT)
            for world, share in zip(WORST, shares, strict=True)
        ),
        *(
            figure(f"ratios of edge lives found that a study says it finds: {world.name}", share,
                   "share", "0.74 to 0.88", 0.74 <= share <= 0.88)
            for world, share in zip(finding, found, strict=True)
        ),
    ]  # fmt: skip


def _verdict(world: World) -> str:
    return "difference shown" if world.shift == 0 else "ruled out"
