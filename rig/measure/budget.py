"""Uncertainty budgets after the Guide to the expression of uncertainty (GUM, JCGM 100:2008).

A measurand is a function of input quantities, each with a standard uncertainty and degrees of
freedom. `evaluate` propagates them to first order:

    u_c^2 = sum_ij c_i c_j u_i u_j r_ij                       (GUM 5.2, equation 16)
    c_i u_i = [f(x_i + u_i) - f(x_i - u_i)] / 2               (GUM 5.1.3, note 2)
    dof = u_c^4 / sum_i (c_i u_i)^4 / dof_i                   (GUM G.4.1, Welch-Satterthwaite)

Sensitivities are central differences over +-u_i, not an adaptive numerical derivative: the step
has the input's own scale, so it neither leaves the model's domain nor drowns in rounding (the
default first step of 0.5 in scipy.differentiate would do the first for a length of 0.25 mm), it is
exact for models of second degree such as m v^2/2, and it is the method the GUM names.

Welch-Satterthwaite needs independent contributions. Inputs tied by a correlation count as one
contribution with the smallest degrees of freedom among them.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

Array = NDArray[np.float64]
Model = Callable[[Mapping[str, Any]], Any]
Correlations = Mapping[tuple[str, str], float]

LEVEL = 0.95


@dataclass(frozen=True)
class Reason:
    """Why something is not valid: a stable name, one line of text, the figure and its limit."""

    name: str
    text: str
    figure: float | None = None
    limit: float | None = None
    unit: str = ""


@dataclass(frozen=True)
class Input:
    """An input quantity: estimate, standard uncertainty, degrees of freedom, and where from.

    `shape` is its distribution: "normal" (Student's t when `dof` is finite, JCGM 101 6.4.9),
    "rectangular" or "arcsine".
    """

    name: str
    value: float
    u: float
    dof: float = math.inf
    source: str = ""
    unit: str = ""
    shape: str = "normal"


def rectangular(
    name: str, value: float, half_width: float, source: str, unit: str = "", dof: float = math.inf
) -> Input:
    """An input known only to lie within +-half_width of `value` (GUM 4.3.7)."""
    return Input(name, value, half_width / math.sqrt(3), dof, source, unit, "rectangular")


@dataclass(frozen=True)
class Row:
    """One line of a budget. `share` is the part of u_c^2; shares add up to one."""

    name: str
    value: float
    unit: str
    u: float
    dof: float
    sensitivity: float
    contribution: float
    share: float
    source: str


@dataclass(frozen=True)
class Measurand:
    """A result: value, standard uncertainty u, dof, coverage factor k (95 %), U = k u, budget.

    It is valid when it has no reasons against it; `reasons` is never reduced to a yes or no.
    """

    name: str
    value: float
    unit: str
    u: float
    dof: float
    k: float
    U: float
    rows: tuple[Row, ...]
    reasons: tuple[Reason, ...] = ()

    @property
    def low(self) -> float:
        """Lower end of the 95 % interval."""
        return self.value - self.U

    @property
    def high(self) -> float:
        """Upper end of the 95 % interval."""
        return self.value + self.U

    def as_input(self, name: str = "") -> Input:
        """This result as an input of another, with no correlation to the other's inputs."""
        source = f"measured: {self.name}"
        return Input(name or self.name, self.value, self.u, self.dof, source, self.unit)

    def because(self, *reasons: Reason) -> "Measurand":
        """A copy with `reasons` added."""
        return replace(self, reasons=self.reasons + reasons)


def coverage_factor(dof: float, level: float = LEVEL) -> float:
    """Student's t for `level`, two-sided, with `dof` truncated to a whole number (GUM G.4.1).

    Fewer than one degree of freedom counts as one.
    """
    whole = dof if math.isinf(dof) else max(1.0, math.floor(dof + 1e-9))
    return float(stdtrit(whole, 0.5 + level / 2))


def evaluate(
    name: str,
    unit: str,
    model: Model,
    inputs: Sequence[Input],
    correlations: Correlations | None = None,
    reasons: Sequence[Reason] = (),
) -> Measurand:
    """The measurand `model(x)` with its budget.

    Args:
        name: of the measurand.
        unit: of the measurand.
        model: takes a mapping from input name to number and gives the measurand's number.
        inputs: at least one, with distinct names.
        correlations: coefficient for pairs of input names; pairs left out are uncorrelated.
        reasons: why the result is not valid.
    """
    names = [x.name for x in inputs]
    if len(set(names)) != len(names):
        raise ValueError(f"{name}: input names repeat: {names}")
    x = {item.name: item.value for item in inputs}
    value = float(model(x))
    slopes = np.array([_sensitivity(model, x, item) for item in inputs])
    parts = slopes * np.array([item.u for item in inputs])
    r = correlation_matrix(names, correlations or {})
    shares = parts * (r @ parts)
    variance = float(shares.sum())
    u = math.sqrt(max(variance, 0.0))
    dof = _effective_dof(parts, r, [item.dof for item in inputs])
    k = coverage_factor(dof)
    rows = tuple(
        Row(
            item.name,
            item.value,
            item.unit,
            item.u,
            item.dof,
            float(slope),
            abs(float(part)),
            float(share) / variance if variance > 0 else 0.0,
            item.source,
        )
        for item, slope, part, share in zip(inputs, slopes, parts, shares, strict=True)
    )
    return Measurand(name, value, unit, u, dof, k, k * u, rows, tuple(reasons))


def _sensitivity(model: Model, x: Mapping[str, float], item: Input) -> float:
    # An exact input adds nothing; its slope is still shown, over a step of a millionth.
    step = item.u or 1e-6 * (abs(item.value) or 1.0)
    above = float(model({**x, item.name: item.value + step}))
    below = float(model({**x, item.name: item.value - step}))
    return (above - below) / (2 * step)


def correlation_matrix(names: Sequence[str], correlations: Correlations) -> Array:
    r = np.eye(len(names))
    for (one, other), coefficient in correlations.items():
        i, j = names.index(one), names.index(other)
        if i == j or not -1 <= coefficient <= 1:
            raise ValueError(f"correlation of {one} and {other}: {coefficient}")
        r[i, j] = r[j, i] = coefficient
    return r


def _effective_dof(parts: Array, r: Array, dofs: Sequence[float]) -> float:
    """Welch-Satterthwaite over the groups of inputs that correlations tie together."""
    left = set(range(len(parts)))
    total, weighted = 0.0, 0.0
    while left:
        group = _tied(left.pop(), r)
        left -= group
        index = sorted(group)
        variance = float(parts[index] @ r[np.ix_(index, index)] @ parts[index])
        # An input that adds nothing must not lend its degrees of freedom to the group.
        dof = min((dofs[i] for i in index if parts[i] != 0), default=math.inf)
        total += variance
        weighted += variance**2 / dof
    return total**2 / weighted if weighted > 0 else math.inf


def _tied(start: int, r: Array) -> set[int]:
    group, new = {start}, {start}
    while new:
        reached = {int(j) for i in new for j in np.flatnonzero(r[i])}
        new = reached - group
        group |= new
    return group


def to_dict(result: Measurand) -> dict[str, Any]:
    """Plain data that JSON can hold; unlimited degrees of freedom become null."""
    data = asdict(result)
    data["dof"] = _finite(result.dof)
    data["rows"] = [{**row, "dof": _finite(row["dof"])} for row in data["rows"]]
    data["reasons"] = list(data["reasons"])
    return data


def from_dict(data: Mapping[str, Any]) -> Measurand:
    """The measurand that `to_dict` wrote."""
    rows = tuple(Row(**{**row, "dof": _unlimited(row["dof"])}) for row in data["rows"])
    reasons = tuple(Reason(**reason) for reason in data["reasons"])
    return Measurand(**{**data, "dof": _unlimited(data["dof"]), "rows": rows, "reasons": reasons})


def _finite(dof: float) -> float | None:
    return None if math.isinf(dof) else dof


def _unlimited(dof: float | None) -> float:
    return math.inf if dof is None else dof
