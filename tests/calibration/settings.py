"""Readings of a calibration as the procedure journals them, made by plain formulae."""

from collections.abc import Callable
from typing import Any

from rig import bench as benches
from rig.calibration.weights import SIGNS, Facts

BENCH = benches.load(None)
ZERO = 84_000.0


def reading(mean: float, sd: float = 10.0) -> dict[str, Any]:
    return {"mean": mean, "sd": sd, "n": 160, "reasons": []}


def facts(**cell: Any) -> Facts:
    own = BENCH.cell.model_copy(update=cell)
    return Facts(own, BENCH.pry.arm, BENCH.pry.calibration, BENCH.site)


def weights(
    code: Callable[[float, bool, int], float] | None = None,
    masses: tuple[float, ...] = BENCH.pry.calibration.masses_kg,
    zero_moves: float = 0.0,
    ratio: float = 1.0,
) -> dict[str, Any]:
    """Settings of a load calibration.

    Args:
        code: deflection from torque (signed), rising, run; left out, a straight line.
        masses: entered, in kg.
        zero_moves: zero after each run less that before.
        ratio: true over entered mass.
    """
    known = facts()
    line = known.codes_per_nm()

    def straight(torque_nm: float, rising: bool, run: int) -> float:
        return line * torque_nm + 3.0 * (run - 2) + (2.0 if rising else -2.0)

    of = code or straight
    runs: list[dict[str, Any]] = []
    for side, sign in SIGNS.items():
        for run in (1, 2, 3):
            order = [(m, True) for m in masses] + [(m, False) for m in masses[-2::-1]]
            points = [
                {"mass_kg": m, "rising": up,
                 **reading(ZERO + of(sign * known.torque_nm(m * ratio), up, run))}
                for m, up in order
            ]  # fmt: skip
            runs.append({"side": side, "run": run, "zero_before": reading(ZERO),
                         "points": points, "zero_after": reading(ZERO + zero_moves)})  # fmt: skip
    top = ZERO + of(known.torque_nm(masses[-1] * ratio), True, 2)
    return {
        "bench": BENCH.name,
        "cell": BENCH.cell.model_dump(mode="json"),
        "arm": BENCH.pry.arm.model_dump(mode="json"),
        "calibration": BENCH.pry.calibration.model_dump(mode="json"),
        "site": BENCH.site.model_dump(mode="json"),
        "operator": "AB",
        "runs": runs,
        "creep": {"early": top, "late": top + 5.0, "zero": ZERO, "after_s": 60.0},
    }
