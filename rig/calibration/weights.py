"""Dead weights hung on the level lever: their torques, and the deflections they gave.

    T = m g r (1 - rho_air / rho_mass)

**Zero treatment**: the deflection of a reading is its code less the zero at its place in the run,
on the straight line from the zero before the run to the zero after it.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from rig.bench import Arm, Cell, JigCalibration, Site
from rig.calibration.components import Readings
from rig.calibration.nominal import CODES_PER_RATIO
from rig.measure.budget import Input, rectangular
from rig.measure.gravity import local_gravity

Settings = Mapping[str, Any]
SIGNS = {"right": 1.0, "left": -1.0}
AIR_KG_M3 = 1.2  # sea level, room temperature; a half width of 0.15 reaches 1,200 m up
U_AIR_KG_M3 = 0.15


@dataclass(frozen=True)
class Facts:
    """What the bench states of cell, lever, weights and place."""

    cell: Cell
    arm: Arm
    calibration: JigCalibration
    site: Site

    @staticmethod
    def of(settings: Settings) -> "Facts":
        """From plain data as journaled."""
        return Facts(
            Cell.model_validate(settings["cell"]),
            Arm.model_validate(settings["arm"]),
            JigCalibration.model_validate(settings["calibration"]),
            Site.model_validate(settings["site"]),
        )

    @property
    def gravity(self) -> Input:
        """Local gravity."""
        return local_gravity(self.site.latitude_deg, self.site.elevation_m or 0.0)

    def torque_nm(self, mass_kg: float) -> float:
        """Torque of a weight hung on the level lever."""
        buoyed = 1 - AIR_KG_M3 / self.calibration.density_kg_m3
        return mass_kg * self.gravity.value * self.arm.calibration_m * buoyed

    def codes_per_nm(self) -> float:
        """What the cell's stated sensitivity leads to expect."""
        capacity_nm = self.cell.capacity_n * self.arm.length_m
        return self.cell.sensitivity_mv_v * 1e-3 * CODES_PER_RATIO / capacity_nm

    def common(self) -> list[Input]:
        """Factors near one that all torques of the certificate share."""
        weights, arm, gravity = self.calibration, self.arm, self.gravity
        tilt = 1 - math.cos(math.radians(2 * arm.u_align_deg))
        air = U_AIR_KG_M3 / weights.density_kg_m3
        stated = "stated by the bench"
        return [
            Input("weights", 1.0, weights.u_mass_relative, math.inf,
                  f"{stated}; taken as one error that all weights share", "1"),
            Input("lever", 1.0, arm.u_calibration_m / arm.calibration_m, math.inf,
                  f"radius that the weights hang at, {stated}", "1"),
            Input("gravity", 1.0, gravity.u / gravity.value, math.inf, gravity.source, "1"),
            rectangular("level", 1.0, tilt, "lever not quite level when read", "1"),
            rectangular("air", 1.0, air, "density of the air that the weights push aside", "1"),
        ]  # fmt: skip


def readings(runs: Sequence[Settings], side: str, facts: Facts) -> Readings:
    """Deflections of one side against its torques (left: both negative).

    Args:
        runs: each with `side`, `run`, `zero_before`, `points` in the order taken (each with
            `mass_kg`, `rising`, `mean`, `sd`), `zero_after`, and in a side's first run
            `zero_unused`: the zero before the largest weight was hung for the first time.
        side: "right" or "left".
        facts: of the bench.
    """
    rows, returns, variances, changes = [], [], [], []
    for run in (r for r in runs if r["side"] == side):
        before, after = run["zero_before"]["mean"], run["zero_after"]["mean"]
        returns.append(after - before)
        if run.get("zero_unused"):
            changes.append(before - run["zero_unused"]["mean"])
        steps = len(run["points"]) + 1
        for place, point in enumerate(run["points"], 1):
            zero = before + (after - before) * place / steps
            torque = SIGNS[side] * facts.torque_nm(point["mass_kg"])
            rows.append((point["mean"] - zero, torque, point["mass_kg"], float(point["rising"])))
            variances.append((point["sd"] or 0.0) ** 2)
    x, y, level, rising = np.array(rows, dtype=float).reshape(-1, 4).T
    noise = math.sqrt(float(np.mean(variances))) if variances else 0.0
    returned, changed = np.array(returns, dtype=float), np.array(changes, dtype=float)
    return Readings(x, y, level, rising, returned, changed, noise)
