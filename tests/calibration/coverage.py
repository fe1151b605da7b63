"""Is a certificate honest? Jigs with true values drawn from what the bench states, calibrated by
simulated dead weights, then read once at a torque in the certificate's range.

Weights swing before they rest, the cell has hysteresis, creep, a bow and a wandering zero, and
the torque that is read comes after a random past: another side, a detour to a larger torque.
"""

import math
import random
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from typing import Any

import numpy as np

from rig import bench as benches
from rig.calibration import load
from rig.calibration.nominal import CODES_PER_RATIO
from rig.measure.budget import coverage_factor
from rig.measure.gravity import local_gravity
from rig.measure.scales import Scale
from rig.virtual.arm.cell import Cell
from rig.virtual.arm.draw import JigNominal, draw_jig
from rig.virtual.arm.truth import CellTruth, JigTruth

BENCH = benches.load(None)
LATITUDE_DEG = 45.0
NOISE_CODES = 38.7  # 90 nV of 19.53 mV in 2**23 codes
SAMPLES = 160
SIDES = {"right": 1.0, "left": -1.0}
SWING = [(0.5 * n, 0.02 * math.exp(-0.7 * n) * (-1) ** n) for n in range(1, 7)]


def nominal() -> JigNominal:
    """What the design bench states, as the virtual jig's beliefs."""
    arm, cell, weights = BENCH.pry.arm, BENCH.cell, BENCH.pry.calibration
    capacity_nm = cell.capacity_n * arm.length_m
    slope = cell.sensitivity_mv_v * 1e-3 / capacity_nm
    believed = JigTruth(
        arm_m=arm.length_m,
        calibration_arm_m=arm.calibration_m,
        gravity=local_gravity(LATITUDE_DEG).value,
        weights_kg_m3=weights.density_kg_m3,
        cell=CellTruth(capacity_nm=capacity_nm, right=slope, left=slope),
    )
    return JigNominal(
        belief=believed,
        u_arm_m=arm.u_calibration_m,
        weights_g=tuple(round(m * 1000) for m in weights.masses_kg),
        u_weight=weights.u_mass_relative,
    )


class Lab:
    """One true jig, its cell's past, and readings of it."""

    def __init__(self, seed: int) -> None:
        self.rng = random.Random(seed)
        self.truth = draw_jig(self.rng, nominal())
        self.cell = Cell(self.truth.cell)
        self.now, self.torque = 0.0, 0.0

    def hang(self, mass_kg: float, side: str) -> dict[str, Any]:
        """Hang a weight (0: none), let it swing out, read it."""
        self.move(SIDES[side] * self.truth.hung_nm(mass_kg), 1.0, swing=mass_kg > 0)
        self.wait(3.0)
        return self.read()

    def move(self, to_nm: float, duration_s: float, swing: bool = False) -> None:
        """Take the torque to a value, steadily."""
        way = np.linspace(0.0, 1.0, 9)[1:]
        times = self.now + duration_s * way
        torques = self.torque + (to_nm - self.torque) * way
        if swing:
            times = np.append(times, [times[-1] + t for t, _ in SWING])
            torques = np.append(torques, [to_nm * (1 + share) for _, share in SWING])
            times, torques = np.append(times, times[-1] + 0.5), np.append(torques, to_nm)
        self.cell.respond(times, torques)
        self.now, self.torque = float(times[-1]), to_nm

    def wait(self, seconds: float) -> None:
        self.now += seconds
        self.cell.rest(self.now)

    def code(self, samples: int = 1) -> float:
        """Mean of so many samples now."""
        ratio = float(self.cell.respond(np.array([self.now]), np.array([self.torque]))[0])
        return ratio * CODES_PER_RATIO + self.rng.gauss(0.0, NOISE_CODES / math.sqrt(samples))

    def read(self) -> dict[str, Any]:
        self.wait(2.0)
        return {"mean": self.code(SAMPLES), "sd": NOISE_CODES, "n": SAMPLES, "reasons": []}


def calibration(lab: Lab, runs: int = 3) -> dict[str, Any]:
    """Settings of a whole load calibration, as the procedure journals them."""
    masses = BENCH.pry.calibration.masses_kg
    found: list[dict[str, Any]] = []
    creep: dict[str, Any] = {}
    for side in SIDES:
        unused = lab.hang(0.0, side)
        lab.hang(masses[-1], side)
        for number in range(1, runs + 1):
            zero = lab.hang(0.0, side)
            points = [{"mass_kg": m, "rising": True, **lab.hang(m, side)} for m in masses] + [
                {"mass_kg": m, "rising": False, **lab.hang(m, side)} for m in masses[-2::-1]
            ]
            after = lab.hang(0.0, side)
            found.append({"side": side, "run": number, "zero_before": zero, "points": points,
                          "zero_after": after})  # fmt: skip
        found[-runs]["zero_unused"] = unused
        if side == "right":
            early = lab.hang(masses[-1], side)["mean"]
            lab.wait(60.0)
            creep = {"early": early, "late": lab.read()["mean"],
                     "zero": found[-1]["zero_after"]["mean"], "after_s": 60.0}  # fmt: skip
            lab.hang(0.0, side)
    return {
        "bench": BENCH.name,
        "cell": BENCH.cell.model_dump(),
        "arm": BENCH.pry.arm.model_dump(),
        "calibration": BENCH.pry.calibration.model_dump(),
        "site": {"latitude_deg": LATITUDE_DEG, "elevation_m": 0.0},
        "operator": "AB",
        "runs": found,
        "creep": creep,
    }


def miss(lab: Lab, scale: Scale) -> tuple[float, float, float]:
    """Read one torque as a trial does: (true torque, error, U)."""
    side = SIDES[lab.rng.choice(["right", "left"])]
    past = SIDES[lab.rng.choice(["right", "left"])] * lab.rng.uniform(0.1, 1.0) * scale.high
    lab.move(past, 5.0)
    lab.move(0.0, 3.0)
    lab.wait(30.0)
    zero = lab.read()["mean"]
    true = lab.rng.uniform(scale.low, scale.high)
    if lab.rng.random() < 0.5:
        lab.move(side * lab.rng.uniform(true, scale.high), 6.0)
    lab.move(side * true, 6.0)
    read = abs(float(scale.value(lab.code() - zero)))
    u = math.hypot(scale.u_relative * read, scale.u_absolute)
    return true, read - true, coverage_factor(scale.dof) * u


def one(seed: int) -> list[tuple[float, float, float]]:
    """Several torques read by one certificate; empty when it was refused."""
    lab = Lab(seed)
    result = load.calibrate(calibration(lab))
    if result["certificate"] is None:
        return []
    scale = Scale.from_dict(result["certificate"]["curve"])
    return [miss(lab, scale) for _ in range(4)]


def run(rigs: int, first: int = 0) -> dict[str, float]:
    """Coverage over so many jigs: of all torques and of the lower, middle, upper third."""
    with ProcessPoolExecutor() as pool:
        every = list(pool.map(one, range(first, first + rigs), chunksize=25))
    return figures(every)


def figures(every: Iterable[list[tuple[float, float, float]]]) -> dict[str, float]:
    found = list(every)
    rows = np.array([row for rig in found for row in rig])
    held = np.abs(rows[:, 1]) <= rows[:, 2]
    thirds = np.digitize(rows[:, 0], np.quantile(rows[:, 0], [1 / 3, 2 / 3]))
    told = {f"coverage third {n + 1}": float(held[thirds == n].mean()) for n in range(3)}
    return {
        "coverage": float(held.mean()),
        **told,
        "median relative U": float(np.median(rows[:, 2] / rows[:, 0])),
        "bias over U": float(np.mean(rows[:, 1] / rows[:, 2])),
        "refused": float(sum(not rig for rig in found)),
    }
