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
from rig.study.statistics.data import LOG, BladeFacts, StudyData
from rig.study.statistics.units import BLADE, LOAD, BladeMean, Layout
from rig.study.statistics.verdict import LEVEL

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
        for i in range(len(COVARIATES))
        if i not in names and not reasons
    )
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
            of = f"of {_named(missing)} was not" if len(missing) < len(table) else "was not"
            reasons.append(Reason(
                "covariate_missing",
                f"The {name} {of} measured: nothing is adjusted for it.",
                len(missing), 0, "blades",
            ))  # fmt: skip
    return table, tuple(reasons)


def _named(blades: Sequence[str]) -> str:
    return ", ".join(blades[:5]) + (" and others" if len(blades) > 5 else "")


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
    dof = len(units) - x.shape[1]
    against = _why_not(x, dof)
    if against:
        return Adjustment((), (), dof, reasons + against)
    line = _least_squares(x, np.array([u.mean for u in units]), dof)
    if dof < FEW:
        text = f"Only {dof} units more than unknowns: the figures at equal geometry are rough."
        reasons += (Reason("few_to_adjust", text, dof, FEW),)
    told = tuple(_adjusted(data, pair, line, groups) for pair in pairs if set(pair) <= set(groups))
    slopes = tuple(_slope(data, i, at, line) for at, i in enumerate(names, start=len(groups)))
    return Adjustment(told, slopes, dof, reasons)


def _why_not(x: Array, dof: int) -> tuple[Reason, ...]:
    units, unknowns = x.shape
    if dof < 1:
        text = f"{units} units are too few to adjust for geometry."
        return (Reason("too_few_to_adjust", text, units, unknowns + 1, "units"),)
    if np.linalg.matrix_rank(x) < unknowns:
        text = "Geometry goes with the groups: its share cannot be told."
        return (Reason("geometry_is_the_group", text),)
    return ()


@dataclass(frozen=True)
class _Line:
    """Coefficients, (X'X)^-1, residual scatter and its degrees of freedom."""

    beta: Array
    inverse: Array
    scatter: float
    dof: int

    def along(self, direction: Array) -> tuple[float, float, float]:
        """Estimate, standard error, and half of the 95 % interval of a sum of coefficients."""
        se = self.scatter * math.sqrt(float(direction @ self.inverse @ direction))
        return float(direction @ self.beta), se, se * float(-stdtrit(self.dof, LEVEL / 2))


def _least_squares(x: Array, y: Array, dof: int) -> _Line:
    q, r = np.linalg.qr(x)
    beta, root = np.linalg.solve(r, q.T @ y), np.linalg.inv(r)
    residuals = y - x @ beta
    return _Line(beta, root @ root.T, math.sqrt(float(residuals @ residuals) / dof), dof)


def _adjusted(
    data: StudyData, pair: tuple[str, str], line: _Line, groups: Sequence[str]
) -> Adjusted:
    direction = np.zeros(len(line.beta))
    direction[groups.index(pair[0])], direction[groups.index(pair[1])] = 1.0, -1.0
    difference, se, reach = line.along(direction)
    p = float(2 * stdtr(line.dof, -abs(difference) / se)) if se > 0 else math.nan
    out = data.response.outward
    return Adjusted(*pair, out(difference), out(difference - reach), out(difference + reach), p)


def _slope(data: StudyData, covariate: int, at: int, line: _Line) -> Slope:
    slope, _, reach = line.along(np.eye(len(line.beta))[at])
    name, unit = COVARIATES[covariate]
    unit = unit if data.response.scale == LOG or covariate == 0 else "m"
    out = data.response.outward
    return Slope(name, unit, out(slope), out(slope - reach), out(slope + reach))
