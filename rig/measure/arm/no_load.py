"""A recorded sweep of the bare arm -> `Sweep`, with what stands against it."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rig.measure.arm.checks import record_reasons, spike_figures
from rig.measure.arm.facts import ArmRecord
from rig.measure.arm.motion import (
    REACH,
    SETTLING,
    STEADY_RAD_S,
    Array,
    Motion,
    accelerations,
    motion,
    rates,
    under_triangle,
)
from rig.measure.arm.sweep import HIGHEST_DEGREE, NOTHING, WORTH, Sweep
from rig.measure.budget import Reason
from rig.measure.scales import Scale

MOVING = 2.0  # times the speed at which friction has its full sign
LEAST_MOVING = 80  # samples: a second
DILUTED = 0.1  # of an inertia: what noise of the angle may take from it
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
    return _told(sweep, reasons, figures | spike_figures(record))


def fit_sweep(made: Motion, moving: NDArray[np.bool_]) -> tuple[Sweep, float, int]:
    """Curve, friction and inertia by the moving samples; scatter about it, degree by the rule."""
    angle = under_triangle(made.angle_rad)[moving]
    torque = under_triangle(made.raw_nm)[moving]
    sign = under_triangle(np.sign(rates(made.at_s, made.angle_rad)))[moving]
    faster = accelerations(made.at_s, made.angle_rad)[moving]
    reach = float(np.abs(angle).max())
    both = np.ptp(sign) > 1
    extra = [faster, sign] if both else [faster]
    fits = [_fit(angle / reach, extra, torque, n) for n in range(1, HIGHEST_DEGREE + 1)]
    least = min(fitted.scatter for fitted in fits)
    degree = next(n for n, fitted in enumerate(fits, 1) if WORTH * fitted.scatter <= least)
    found = fits[degree - 1]
    coefficients = tuple(float(c) / reach**n for n, c in enumerate(found.values[: degree + 1]))
    sweep = Sweep(
        coefficients, float(found.values[-1]) if both else 0.0, found.u_curve,
        float(angle.min()), float(angle.max()), float(found.values[degree + 1]), found.u_inertia,
    )  # fmt: skip
    return sweep, found.scatter, degree


@dataclass(frozen=True)
class _Fitted:
    """Coefficients (curve, inertia, friction), scatter, u of the curve and of the inertia."""

    values: Array
    scatter: float
    u_curve: float
    u_inertia: float


def _fit(x: Array, extra: Sequence[Array], y: Array, degree: int) -> _Fitted:
    design = np.column_stack([*(x**n for n in range(degree + 1)), *extra])
    values, *_ = np.linalg.lstsq(design, y, rcond=None)
    rest = y - design @ values
    scatter = math.sqrt(float(rest @ rest) / max(1, len(y) - design.shape[1]))
    # Neighbours share most of their periods, and what a curve of this degree cannot follow is no
    # noise at all: the larger of the two, running means against scatter, stands for both.
    length = 5 * SETTLING
    left = float(np.sqrt(np.mean(np.convolve(rest, np.ones(length) / length, "valid") ** 2)))
    alike = SETTLING + REACH
    u_curve = max(left, scatter * math.sqrt(alike * design.shape[1] / len(y)))
    spread = np.linalg.pinv(design)[degree + 1]
    by_scatter = scatter * math.sqrt(alike * float(spread @ spread))
    u_inertia = math.hypot(by_scatter, DILUTED * float(values[degree + 1]))
    return _Fitted(np.asarray(values), scatter, u_curve, u_inertia)


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
