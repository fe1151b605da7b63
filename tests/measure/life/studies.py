"""Lives for the tests: published, written out, and simulated studies with a known truth."""

import math
from dataclasses import dataclass

import numpy as np

from rig.measure.life import Family, Life, Schedule, log_sd_of, median_ratio, quantile, survivor
from tests.published import load


def lives(group: str, *intervals: tuple[float, float]) -> list[Life]:
    """One blade for each (last pass, first fail]."""
    return [Life(f"{group}{i}", group, low, high) for i, (low, high) in enumerate(intervals)]


def exact(group: str, *counts: float) -> list[Life]:
    """One blade for each life known exactly."""
    return lives(group, *((x, x) for x in counts))


def ball_bearings() -> list[Life]:
    """Lieblein and Zelen 1956."""
    return exact("b", *load("weibull_ball_bearings")["inputs"]["million_revolutions"])


def shock_absorbers() -> list[Life]:
    """O'Connor 1985."""
    given = load("weibull_shock_absorbers")["inputs"]
    alive = [survivor(f"s{i}", "s", x) for i, x in enumerate(given["survived_km"])]
    return [Life(life.specimen, "s", *2 * (life.first_fail_cuts,))
            for life in exact("f", *given["failed_km"])] + alive  # fmt: skip


def cosmesis(group: str) -> list[Life]:
    """Finkelstein 1986, one treatment."""
    given = load("turnbull_breast_cosmesis")["inputs"][group]
    return lives(group, *((low, math.inf if high is None else high) for low, high in given))


def remission() -> tuple[list[Life], list[Life]]:
    """Freireich et al. 1963: 6-MP and placebo."""
    given = load("logrank_remission")["inputs"]
    events = zip(given["weeks_6mp"], given["event_6mp"], strict=True)
    treated = lives("6-MP", *((week, week if event else math.inf) for week, event in events))
    return treated, exact("placebo", *given["weeks_placebo"])


@dataclass(frozen=True)
class Kind:
    """A kind of study to simulate.

    `blades` and the coefficient of variation `cv` and the ratio of probes are drawn between the
    two values given; the test ends `ends` standard deviations above the median life.
    """

    family: Family
    blades: tuple[int, int]
    cv: tuple[float, float] = (0.15, 0.4)
    probe_ratio: tuple[float, float] = (1.1, 1.35)
    ends: float = 6.0


@dataclass(frozen=True)
class Study:
    """One simulated study of two groups, with its true medians."""

    treated: list[Life]
    control: list[Life]
    median_cuts: float
    ratio: float


def simulate(kind: Kind, rng: np.random.Generator) -> Study:
    """A study whose probes fall anywhere against the true lives."""
    blades = int(rng.integers(kind.blades[0], kind.blades[1] + 1))
    log_sd = log_sd_of(rng.uniform(*kind.cv))
    median, ratio = math.exp(rng.uniform(5, 7)), math.exp(rng.uniform(-0.4, 0.4))
    probes = probing(median, log_sd, rng.uniform(*kind.probe_ratio), kind.ends, rng)
    return Study(
        _drawn("treated", kind.family, median * ratio, log_sd, blades, probes, rng),
        _drawn("control", kind.family, median, log_sd, blades, probes, rng),
        median,
        ratio,
    )


def probing(
    median: float, log_sd: float, ratio: float, ends: float, rng: np.random.Generator
) -> Schedule:
    """Probes from far below the lives to `ends` standard deviations above, unrounded."""
    first = math.log(median) - 3.5 + rng.uniform(0, math.log(ratio))
    counts = np.exp(np.arange(first, math.log(median) + 0.4 + ends * log_sd, math.log(ratio)))
    # A schedule in whole cuts so fine that rounding is of no account.
    return Schedule(tuple(int(x) for x in np.unique(np.round(1000 * counts))), "simulated")


def _drawn(
    group: str,
    family: Family,
    median: float,
    log_sd: float,
    blades: int,
    probes: Schedule,
    rng: np.random.Generator,
) -> list[Life]:
    normal = family is Family.LOGNORMAL
    z = rng.standard_normal(blades) if normal else np.log(rng.exponential(size=blades))
    cuts = median * np.exp((z - family.quantile(0.5)) * log_sd / family.sd)
    seen = [probes.interval(1000 * x) for x in cuts]
    return lives(group, *((low / 1000, high / 1000) for low, high in seen))


def coverage(kind: Kind, studies: int, seed: int, level: float = 0.95) -> dict[str, float]:
    """Shares of studies whose intervals of median and ratio hold the truth, and their widths.

    `undetermined` is the share of studies of which the median had no estimate: their
    intervals count like all others.
    """
    rng = np.random.default_rng(seed)
    held = {"median": 0, "ratio": 0, "undetermined": 0}
    widths = []
    for _ in range(studies):
        study = simulate(kind, rng)
        median = quantile(study.control, 0.5, kind.family, level)
        ratio = median_ratio(study.treated, study.control, kind.family, level)
        held["median"] += median.holds(study.median_cuts)
        held["ratio"] += ratio.holds(study.ratio)
        held["undetermined"] += math.isnan(median.estimate)
        widths.append(ratio.high / ratio.low if ratio.low > 0 else math.inf)
    return {name: count / studies for name, count in held.items()} | {
        "ratio of the ratio's ends, median": float(np.median(widths))
    }
