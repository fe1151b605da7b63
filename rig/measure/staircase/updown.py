"""Up-and-down trials: the level raised by a step after a survival, lowered after a failure.

Three estimates of the level at which half fail:

- Dixon and Mood 1948 (the formulae of ASTM D5420 and ISO 6603-1): of the rarer event, with i steps
  above its lowest level and n_i events there, N = sum n_i, A = sum i n_i, B = sum i^2 n_i,

      mean = x_0 + d (A/N +- 1/2),   + when survivals are counted, - when failures are;
      sd = 1.620 d ((N B - A^2)/N^2 + 0.029), good where the bracket's first term is 0.3 or more;

- the average of all levels from the first change of outcome on, with the one the next trial would
  have had (Brownlee, Hodges and Rosenblatt 1953);
- maximum likelihood, in `rig.measure.staircase.threshold`.
"""

import math
from collections import Counter
from dataclasses import dataclass

from rig.errors import RigError
from rig.measure.budget import Reason

ENOUGH_FOR_SCATTER = 20  # trials; fewer give no scatter worth its name
ENOUGH = 10  # trials; ASTM D5420 calls 20 usual and as few as 10 often enough
SPREAD_OK = 0.3  # Dixon and Mood 1948: below it the formula for the scatter breaks down


@dataclass(frozen=True)
class Staircase:
    """Trials in their order.

    Args:
        levels: of each trial, in one unit.
        failed: whether the specimen failed.
        step: by which the level is raised or lowered.
        blades: name of the blade of each trial; () = each trial a fresh blade.

    Raises:
        RigError: when there are no trials, lengths differ, or a level is off the steps.
    """

    levels: tuple[float, ...]
    failed: tuple[bool, ...]
    step: float
    blades: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.levels or len(self.levels) != len(self.failed) or self.step <= 0:
            raise RigError(
                f"{len(self.levels)} levels, {len(self.failed)} outcomes, step {self.step:g}",
                where="staircase",
                remedy="give one outcome a level and a step above 0",
            )
        for level in self.levels:
            steps = (level - self.levels[0]) / self.step
            if abs(steps - round(steps)) > 0.01:
                raise RigError(
                    f"level {level:g} is not a whole number of steps from {self.levels[0]:g}",
                    where="staircase",
                    remedy="enter the levels that were set",
                    value=level,
                )

    @property
    def next_level(self) -> float:
        """What the next trial is set to."""
        return self.levels[-1] + (-self.step if self.failed[-1] else self.step)


@dataclass(frozen=True)
class Estimate:
    """The level at which half fail; sd, low and high are None where they cannot be told."""

    method: str
    mean: float | None
    sd: float | None
    low: float | None
    high: float | None
    reasons: tuple[Reason, ...]


def cautions(run: Staircase) -> tuple[Reason, ...]:
    """What holds against every estimate from this run."""
    reasons: tuple[Reason, ...] = ()
    if len(set(run.failed)) == 1:
        kind = "failed" if run.failed[0] else "survived"
        way = "lower" if run.failed[0] else "higher"
        reasons += (
            Reason(
                "one_outcome", f"Every trial {kind}: the level lies {way} than all that were tried."
            ),
        )
    elif len(run.levels) < ENOUGH:
        reasons += (Reason("few_trials", f"{len(run.levels)} trials: a first guess only.",
                           len(run.levels), ENOUGH, "trials"),)  # fmt: skip
    if run.blades and len(set(run.blades)) < len(run.blades):
        reasons += (Reason(
            "same_blades",
            f"{len(run.levels)} trials on {len(set(run.blades))} blades: the estimate holds for "
            "these blades, not for their kind.",
            len(set(run.blades)), len(run.levels), "blades"),)  # fmt: skip
    return reasons


def _few_for_scatter(trials: int) -> tuple[Reason, ...]:
    if trials >= ENOUGH_FOR_SCATTER:
        return ()
    return (Reason("no_scatter_yet", f"{trials} trials are too few for a scatter.", trials,
                   ENOUGH_FOR_SCATTER, "trials"),)  # fmt: skip


@dataclass(frozen=True)
class Sums:
    """N, A and B of Dixon and Mood, and the lowest level of the event that is counted."""

    counts_failures: bool
    lowest: float
    n: int
    a: int
    b: int

    @property
    def spread(self) -> float:
        """(N B - A^2)/N^2."""
        return (self.n * self.b - self.a**2) / self.n**2


def sums(run: Staircase) -> Sums:
    """Of the rarer event; of the failures when both are as many."""
    failures = [x for x, failed in zip(run.levels, run.failed, strict=True) if failed]
    survivals = [x for x, failed in zip(run.levels, run.failed, strict=True) if not failed]
    of_failures = len(failures) <= len(survivals)
    counted = failures if of_failures else survivals
    lowest = min(counted)
    at = Counter(round((x - lowest) / run.step) for x in counted)
    return Sums(
        of_failures,
        lowest,
        len(counted),
        sum(i * n for i, n in at.items()),
        sum(i * i * n for i, n in at.items()),
    )


def dixon_mood(run: Staircase) -> Estimate:
    """Mean and scatter by the formulae of 1948."""
    reasons = cautions(run)
    if len(set(run.failed)) == 1:
        return Estimate("Dixon-Mood", None, None, None, None, reasons)
    told = sums(run)
    half = -0.5 if told.counts_failures else 0.5
    mean = told.lowest + run.step * (told.a / told.n + half)
    sd: float | None = 1.62 * run.step * (told.spread + 0.029)
    reasons += _few_for_scatter(len(run.levels))
    if len(run.levels) < ENOUGH_FOR_SCATTER:
        sd = None
    elif told.spread < SPREAD_OK:
        sd = None
        reasons += (Reason(
            "step_too_wide", "Too few levels were visited for a scatter: take a smaller step.",
            told.spread, SPREAD_OK),)  # fmt: skip
    return Estimate("Dixon-Mood", mean, sd, None, None, reasons)


def small_sample(run: Staircase) -> Estimate:
    """Average of the levels from the first change on, with the next level."""
    reasons = cautions(run)
    change = next(
        (i for i in range(1, len(run.failed)) if run.failed[i] != run.failed[i - 1]), None
    )
    if change is None:
        return Estimate("average of levels", None, None, None, None, reasons)
    levels = [*run.levels[change:], run.next_level]
    return Estimate("average of levels", math.fsum(levels) / len(levels), None, None, None, reasons)
