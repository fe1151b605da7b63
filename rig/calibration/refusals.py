"""What forbids a certificate: each reason in one plain line with its figure."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from rig.board.wire import LOAD_LIMITS
from rig.calibration.components import Readings
from rig.calibration.mixups import USUAL, hint, plausible
from rig.measure.budget import Reason

SIDES = ("right", "left")
RUNS = 3
LEVELS = 3
ZERO_LIMIT = 0.001
"""Zero after a run less that before, as a share of the largest deflection: ISO 376, class 2."""

Run = Mapping[str, Any]


def count_reasons(runs: Sequence[Run]) -> Iterator[Reason]:
    """Are both sides there, with runs and weights enough?"""
    for side in SIDES:
        own = [run for run in runs if run["side"] == side]
        if not own:
            yield Reason("missing_side", f"no weights were hung to pull {side}: both sides count")
            continue
        if len(own) < RUNS:
            text = f"{len(own)} runs to the {side}; {RUNS} are needed to see how well it repeats"
            yield Reason("too_few_runs", text, float(len(own)), float(RUNS))
        levels = len({point["mass_kg"] for run in own for point in run["points"]})
        if levels < LEVELS:
            text = f"{levels} different weights to the {side}; {LEVELS} are needed for a curve"
            yield Reason("too_few_weights", text, float(levels), float(LEVELS))


def reading_reasons(runs: Sequence[Run]) -> Iterator[Reason]:
    """Does every reading count by itself?"""
    for run in runs:
        for where, reading in _readings(run):
            mean = reading["mean"]
            if mean is None or reading["reasons"]:
                told = "; ".join(reason["text"] for reason in reading["reasons"]) or "no samples"
                yield Reason("reading", f"{where}: {told}")
            elif not LOAD_LIMITS[0] < mean < LOAD_LIMITS[1]:
                text = f"{where}: the load cell is at its limit: its converter is saturated"
                yield Reason("saturated", text, float(mean), float(LOAD_LIMITS[1]))


def _readings(run: Run) -> Iterator[tuple[str, Mapping[str, Any]]]:
    place = f"{run['side']} run {run['run']}"
    if run.get("zero_unused"):
        yield f"{run['side']}, zero before the first pull", run["zero_unused"]
    yield f"{place}, zero before", run["zero_before"]
    for point in run["points"]:
        yield f"{place}, {point['mass_kg']:g} kg", point
    yield f"{place}, zero after", run["zero_after"]


def order_reasons(runs: Sequence[Run]) -> Iterator[Reason]:
    """Does a heavier weight read more, on the way up and on the way down?"""
    for run in runs:
        zero = run["zero_before"]["mean"]
        for rising in (True, False):
            own = sorted(
                (point["mass_kg"], abs(point["mean"] - zero))
                for point in run["points"]
                if bool(point["rising"]) is rising
            )
            for (lighter, less), (heavier, more) in pairwise(own):
                if heavier > lighter and more <= less:
                    text = (
                        f"{run['side']} run {run['run']}: {heavier:g} kg reads no more than "
                        f"{lighter:g} kg: weights mixed up, or the lever touches something"
                    )
                    yield Reason("not_rising", text, more, less, "code")


def sense_reasons(sides: Mapping[str, Readings], codes_per_nm: float) -> Iterator[Reason]:
    """Polarity and size of the readings against the cell's stated sensitivity.

    Args:
        sides: readings (codes) against torques (N.m, left negative).
        codes_per_nm: expected by the stated sensitivity, capacity and arm.
    """
    slopes = {side: _through_zero(of) for side, of in sides.items()}
    if len(slopes) > 1 and len({slope > 0 for slope in slopes.values()}) > 1:
        yield Reason(
            "same_side",
            "right and left read with the same sign: were the weights hung on the same side twice?",
        )
        return
    if all(slope < 0 for slope in slopes.values()):
        yield Reason(
            "reversed", "a pull to the right reads negative: swap the load cell's two signal wires"
        )
        return
    for side, slope in slopes.items():
        ratio = slope / codes_per_nm
        if not plausible(ratio):
            text = (
                f"the cell reads {ratio:.3g} times what its stated sensitivity leads to expect "
                f"({side}): {hint(ratio, 'mass')}"
            )
            yield Reason("unit", text, ratio, USUAL)
            return


def _through_zero(of: Readings) -> float:
    return float(np.sum(of.x * of.y) / np.sum(of.y**2))


def zero_reasons(sides: Mapping[str, Readings]) -> Iterator[Reason]:
    """Did the zero come back?"""
    for side, of in sides.items():
        largest = float(np.max(np.abs(of.x)))
        for number, moved in enumerate(of.zero_return, 1):
            share = abs(float(moved)) / largest
            if share > ZERO_LIMIT:
                text = (
                    f"{side} run {number}: the zero came back {share:.2%} of the largest reading "
                    f"away (limit {ZERO_LIMIT:.1%}): look for a rubbing lever, a loose hook, a "
                    "warming cell"
                )
                yield Reason("zero_return", text, share, ZERO_LIMIT)
