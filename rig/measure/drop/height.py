"""From empty drops to the release height for an energy.

`a_eff = v^2 / (2 h)` lumps guide friction, draw-wire spring, drum inertia and drag of this tower
today. It is not gravity and need not be near it: a 4 N spring alone adds a fifth to 2 kg.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from rig.errors import RigError
from rig.measure.budget import Input, Measurand, Reason, evaluate
from rig.measure.drop.evaluate import DropResult
from rig.measure.drop.facts import QUANTISED_U, DropFacts


def effective_acceleration(drops: Sequence[DropResult], facts: DropFacts) -> Measurand:
    """Mean `a_eff` of empty drops; scatter with n - 1 degrees of freedom, systematics once.

    Every drop must be valid: the caller repeats the others.

    Raises:
        RigError: fewer than two drops, or one without an impact speed.
    """
    if len(drops) < 2:
        raise RigError(f"{len(drops)} empty drops", remedy="make at least two")
    for number, drop in enumerate(drops, 1):
        if "impact_speed" not in drop.measurands:
            told = "; ".join(reason.text for reason in drop.reasons)
            raise RigError(f"empty drop {number} has no speed ({told})", remedy="repeat it")
    heights = np.array([drop.figures["release_height_counts"] for drop in drops])
    speeds = np.array([drop.figures["impact_speed_counts_s"] for drop in drops])
    each = speeds**2 / (2 * heights)
    mean, count = float(each.mean()), len(drops)
    height = float(heights.mean())
    inputs = [
        Input("mean", mean, float(each.std(ddof=1)) / math.sqrt(count), count - 1.0,
              f"v^2/(2 h) of {count} drops, scatter of their mean", "count/s2"),
        Input("height", height, QUANTISED_U, math.inf,
              "release height, cut off to a whole count; may be the same error each time", "count"),
        facts.scale,
        facts.time_base,
    ]  # fmt: skip

    def model(x: Mapping[str, Any]) -> Any:
        # An error of the contact height cancels: v^2 was taken at the same height (v^2 = 2 a h).
        return x["mean"] * height / x["height"] * x["scale"] / x["time_base"] ** 2

    return evaluate("effective_acceleration", "m/s2", model, inputs)


def change_reasons(today: Measurand, chart: Measurand, limit: float) -> tuple[Reason, ...]:
    """Has the tower changed against its chart by more than `limit` (relative)?"""
    change = today.value / chart.value - 1
    if abs(change) <= limit:
        return ()
    text = (
        f"effective acceleration {today.value:.3f} m/s2, {change:+.1%} against the chart's"
        f" {chart.value:.3f}: look at guide rods, wire and carriage before going on"
    )
    return (Reason("tower_changed", text, abs(change), limit),)


def height_for_energy(energy_j: float, mass: Input, a_eff: Measurand) -> Measurand:
    """Release height above contact for an impact energy, `h = E / (m a_eff)`."""
    if not energy_j > 0:
        raise RigError(f"energy {energy_j:g} J is not above zero", remedy="ask for more")
    inputs = [Input("mass", mass.value, mass.u, mass.dof, mass.source, mass.unit),
              a_eff.as_input("a_eff")]  # fmt: skip
    return evaluate("release_height", "m", lambda x: energy_j / (x["mass"] * x["a_eff"]), inputs)
