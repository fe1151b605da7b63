"""Groups compared at equal geometry: ordinary least squares on the units, beside the raw result.

Angle per side and thickness behind the edge can outweigh the heat treatment. The model is

    y = group + b1 (angle - mean angle) + b2 (thickness - mean thickness),

on the scale of analysis, thickness as its logarithm on the log scale; one scatter for all groups.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr, stdtrit

from rig.measure.budget import Reason
from rig.study.data import LOG, BladeFacts, StudyData
from rig.study.units import BLADE, LOAD, BladeMean, Layout
from rig.study.verdict import LEVEL

FEW = 5  # degrees of freedom below which an adjusted figure is hardly worth its name

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Adjusted:
    """One group against another at equal geometry; `effect` as a ratio on the log scale."""

    group: str
    against: str
    effect: float
    low: float
    high: float
    p: float


@dataclass(frozen=True)
class Slope:
    """Change of the response for one unit of a covariate (a factor on the log scale)."""

    covariate: str
    unit: str
    effect: float
    low: float
    high: float


@dataclass(frozen=True)
class Adjustment:
    """All comparisons at equal geometry; empty with the reasons when it cannot be done."""

    comparisons: tuple[Adjusted, ...]
    slopes: tuple[Slope, ...]
    dof: int
    reasons: tuple[Reason, ...]


@dataclass(frozen=True)
class _Unit:
    group: str
    mean: float
    covariates: tuple[float, ...]


COVARIATES = (("angle per side", "degree"), ("thickness behind the edge", "doubling"))


def adjust(data: StudyData, plan: Layout, pairs: Sequence[tuple[str, str]]) -> Adjustment:
    """`pairs` (group, against) at equal geometry."""
    if plan.unit not in (BLADE, LOAD):
        return _cannot("loads_shared", "Furnace loads are shared between groups: not adjusted.")
    table, reasons = _covariates(data, plan.blades)
    names = [i for i, column in enumerate(zip(*table.values(), strict=True)) if _varies(column)]
    flat = tuple(
        Reason("covariate_constant", f"The {COVARIATES[i][0]} is the same or missing: left out.")
        for i in range(len(COVARIATES)) if i not in names and not reasons
    )  # fmt: skip
    reasons += flat
    if not names:
        return Adjustment((), (), 0, reasons)
    units = _units(plan, {blade: tuple(row[i] for i in names) for blade, row in table.items()})
    return _fitted(data, units, names, pairs, reasons)


def _cannot(name: str, text: str) -> Adjustment:
    return Adjustment((), (), 0, (Reason(name, text),))


def _varies(column: Sequence[float]) -> bool:
    return all(map(math.isfinite, column)) and max(column) > min(column)


def _covariates(
    data: StudyData, blades: Sequence[BladeMean]
) -> tuple[dict[str, tuple[float, ...]], tuple[Reason, ...]]:
    """Angle and thickness of every blade (nan: not measured), and who lacks them."""
    known = {facts.blade: facts for facts in data.facts}
    log = data.response.scale == LOG
    table, reasons = {}, []
    for blade in blades:
        facts = known.get(blade.blade, BladeFacts(blade.blade))
        thickness = facts.thickness_m
        if thickness is not None and log:
            thickness = math.log2(thickness) if thickness > 0 else None
        table[blade.blade] = tuple(
            math.nan if value is None else value for value in (facts.angle_deg, thickness)
        )
    for i, (name, _) in enumerate(COVARIATES):
        missing = [blade for blade, row in table.items() if math.isnan(row[i])]
        if missing:
            reasons.append(Reason(
                "covariate_missing",
                f"The {name} of {', '.join(missing[:5])}{' ...' if len(missing) > 5 else ''} was "
                "not measured: nothing is adjusted for it.",
                len(missing), 0, "blades",
            ))  # fmt: skip
    return table, tuple(reasons)


def _units(plan: Layout, table: dict[str, tuple[float, ...]]) -> list[_Unit]:
    """Blades, or loads with the means of their blades."""
    by_unit: dict[tuple[str, str], list[BladeMean]] = {}
    for blade in plan.blades:
        key = (blade.group, blade.load if plan.unit == LOAD else blade.blade)
        by_unit.setdefault(key, []).append(blade)
    return [
        _Unit(
            group,
            fmean(b.mean for b in blades),
            tuple(map(fmean, zip(*(table[b.blade] for b in blades), strict=True))),
        )
        for (group, _), blades in by_unit.items()
    ]


def _fitted(
    data: StudyData,
    units: Sequence[_Unit],
    names: Sequence[int],
    pairs: Sequence[tuple[str, str]],
    reasons: tuple[Reason, ...],
) -> Adjustment:
    groups = [g.name for g in data.groups if any(u.group == g.name for u in units)]
    x = np.array([[float(u.group == g) for g in groups] + list(u.covariates) for u in units])
    x[:, len(groups) :] -= x[:, len(groups) :].mean(axis=0)
    y = np.array([u.mean for u in units])
    dof = len(units) - x.shape[1]
    if dof < 1:
        return Adjustment((), (), dof, (*reasons, Reason(
            "too_few_to_adjust", f"{len(units)} units are too few to adjust for geometry.",
            len(units), x.shape[1] + 1, "units")))  # fmt: skip
    if np.linalg.matrix_rank(x) < x.shape[1]:
        return Adjustment((), (), dof, (*reasons, Reason(
            "geometry_is_the_group",
            "Geometry goes with the groups: its share cannot be told.")))  # fmt: skip
    beta, inverse, scatter = _least_squares(x, y, dof)
    if dof < FEW:
        reasons += (Reason(
            "few_to_adjust", f"Only {dof} degrees of freedom are left: the adjusted figures are "
            "rough.", dof, FEW),)  # fmt: skip
    t = float(-stdtrit(dof, LEVEL / 2))
    told = [
        _adjusted(data, pair, _direction(groups, pair, x.shape[1]), beta, inverse, scatter, dof, t)
        for pair in pairs
        if set(pair) <= set(groups)
    ]
    out = data.response.outward
    slopes = []
    for at, i in enumerate(names, start=len(groups)):
        reach = t * scatter * math.sqrt(inverse[at, at])
        name, unit = COVARIATES[i]
        unit = unit if data.response.scale == LOG or i == 0 else "m"
        slopes.append(Slope(name, unit, out(beta[at]), out(beta[at] - reach),
                            out(beta[at] + reach)))  # fmt: skip
    return Adjustment(tuple(told), tuple(slopes), dof, reasons)


def _least_squares(x: Array, y: Array, dof: int) -> tuple[Array, Array, float]:
    """Coefficients, (X'X)^-1 and the residual scatter, by QR."""
    q, r = np.linalg.qr(x)
    beta = np.linalg.solve(r, q.T @ y)
    root = np.linalg.inv(r)
    residuals = y - x @ beta
    return beta, root @ root.T, math.sqrt(float(residuals @ residuals) / dof)


def _direction(groups: Sequence[str], pair: tuple[str, str], width: int) -> Array:
    direction = np.zeros(width)
    direction[groups.index(pair[0])], direction[groups.index(pair[1])] = 1.0, -1.0
    return direction


def _adjusted(
    data: StudyData,
    pair: tuple[str, str],
    direction: Array,
    beta: Array,
    inverse: Array,
    scatter: float,
    dof: int,
    t: float,
) -> Adjusted:
    difference = float(direction @ beta)
    se = scatter * math.sqrt(float(direction @ inverse @ direction))
    out = data.response.outward
    p = float(2 * stdtr(dof, -abs(difference) / se)) if se > 0 else math.nan
    return Adjusted(*pair, out(difference), out(difference - t * se), out(difference + t * se), p)
