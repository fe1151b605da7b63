"""A recorded sweep of the bare arm -> `Sweep`, with what stands against it."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from rig.measure.budget import Reason
from rig.measure.pry.checks import record_reasons
from rig.measure.pry.facts import ArmRecord
from rig.measure.pry.motion import SETTLING, STEADY_RAD_S, Array, Motion, motion, rates
from rig.measure.pry.sweep import HIGHEST_DEGREE, NOTHING, WORTH, Sweep
from rig.measure.scales import Scale

MOVING = 2.0  # times the speed at which friction has its full sign
LEAST_MOVING = 80  # samples: a second
LEAST_RAD = math.radians(5.0)


def no_load_sweep(
    record: ArmRecord, torque: Scale, angle: Scale, scatter_limit_nm: float
) -> dict[str, Any]:
    """T0(theta) of the arm, as plain data that goes into the settings of a trial.

    Args:
        record: the bare arm led out and back (to either side, or to both).
        torque, angle: scales in force.
        scatter_limit_nm: samples may scatter about the curve by this much (standard deviation).

    Returns:
        the keys of `Sweep.to_dict`, with "measurands" (none), "reasons" and "figures".
    """
    reasons = list(record_reasons(record))
    made = motion(record, _Bare(torque, angle), 1)
    if made is None:
        reasons.append(Reason("record_short", "the record is too short"))
        return _told(NOTHING, reasons, {})
    moving = np.abs(rates(made.at_s, made.angle_rad)) > MOVING * STEADY_RAD_S
    if moving.sum() < LEAST_MOVING or np.ptp(made.angle_rad[moving]) < LEAST_RAD:
        text = "the arm hardly moved: sweep it through the angles of the trial"
        turned = float(np.ptp(made.angle_rad))
        reasons.append(Reason("sweep_short", text, turned, LEAST_RAD, "rad"))
        return _told(NOTHING, reasons, {})
    sweep, scatter, degree = fit_sweep(made, moving)
    if scatter > scatter_limit_nm:
        text = (
            f"torque scatters by {scatter * 1e3:.1f} mN.m along the sweep: lead the arm evenly,"
            " touch nothing"
        )
        reasons.append(Reason("sweep_uneven", text, scatter, scatter_limit_nm, "N.m"))
    figures = {"scatter_nm": scatter, "degree": float(degree), "samples": float(moving.sum())}
    return _told(sweep, reasons, figures)


def fit_sweep(made: Motion, moving: Array) -> tuple[Sweep, float, int]:
    """Curve and friction through the moving samples; scatter about it, and degree by the rule."""
    angle, torque = made.angle_rad[moving], made.raw_nm[moving]
    sign = np.sign(rates(made.at_s, made.angle_rad)[moving])
    reach = float(np.abs(angle).max())
    fits = [_fit(angle / reach, sign, torque, n) for n in range(1, HIGHEST_DEGREE + 1)]
    degree = 1
    while degree < HIGHEST_DEGREE and fits[degree][1] < WORTH * fits[degree - 1][1]:
        degree += 1
    found, scatter, u = fits[degree - 1]
    coefficients = tuple(float(c) / reach**n for n, c in enumerate(found[:-1]))
    sweep = Sweep(coefficients, float(found[-1]), u, float(angle.min()), float(angle.max()))
    return sweep, scatter, degree


def _fit(x: Array, sign: Array, y: Array, degree: int) -> tuple[Array, float, float]:
    """Coefficients with friction last, scatter, and u of the curve (rms over the samples)."""
    both = np.ptp(sign) > 0
    columns = [x**n for n in range(degree + 1)] + ([sign] if both else [])
    design = np.column_stack(columns)
    found, *_ = np.linalg.lstsq(design, y, rcond=None)
    rest = y - design @ found
    free = max(1, len(y) - design.shape[1])
    scatter = math.sqrt(float(rest @ rest) / free)
    # Neighbours share three of four periods, and what a curve of this degree cannot follow is
    # no noise at all: the larger of the two, running means against scatter, stands for both.
    mean_of = np.convolve(rest, np.ones(5 * SETTLING) / (5 * SETTLING), "valid")
    left = float(np.sqrt(np.mean(mean_of**2)))
    u = max(left, scatter * math.sqrt(SETTLING * design.shape[1] / len(y)))
    return np.asarray(found if both else np.append(found, 0.0)), scatter, u


@dataclass(frozen=True)
class _Bare:
    """The arm read as it is."""

    torque: Scale
    angle: Scale
    sweep: Sweep = NOTHING


def _told(sweep: Sweep, reasons: list[Reason], figures: Mapping[str, float]) -> dict[str, Any]:
    return sweep.to_dict() | {
        "measurands": {},
        "reasons": [vars(reason).copy() for reason in reasons],
        "figures": dict(figures),
    }
