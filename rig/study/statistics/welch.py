"""The t test for unequal scatter, made to keep its level with few blades.

Welch's test of 1947 (with Satterthwaite's degrees of freedom) is too ready to call a difference
when groups are small and of unlike size: with 3 against 10 blades up to 7.2 % at a stated 5 %,
and more than twice the stated level at 5/3 %. Its true level can be worked out exactly. Let group
i have an estimate with variance V_i, estimated with f_i degrees of freedom. Then with F = f_1 + f_2

    B = chi2_1/(chi2_1 + chi2_2) ~ Beta(f_1/2, f_2/2), independent of chi2_1 + chi2_2 ~ chi2(F)
    T | B = t_F(shift) / sqrt(F (w B/f_1 + (1 - w)(1 - B)/f_2)),   w = V_1/(V_1 + V_2)

so that the chance to reject is one integral over B, for any w. `kept` gives the largest level over
all w that a nominal p stands for; used as the p value it keeps its promise at every ratio of the
scatters (for normal values). `nominal` is its inverse, `power` the same integral with a shift.

A difference that has one scatter of its own (within furnace loads) has f_2 = 0 and is a plain t.
"""

import math
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import betaln, chdtr, expit, nctdtr, stdtr, stdtrit

Array = NDArray[np.float64]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(48)
_SHARES = expit(np.linspace(-8.0, 8.0, 41))
_LOG_P = np.concatenate(
    [np.linspace(math.log(1e-10), math.log(1e-3), 15)[:-1], np.linspace(math.log(1e-3), 0.0, 40)]
)


def welch(difference: Any, v1: Any, f1: Any, v2: Any, f2: Any) -> tuple[Array, Array]:
    """Standard error and degrees of freedom of a difference of two estimates; broadcasts.

    Args:
        difference: only sets the shape.
        v1, v2: variances of the two estimates (s^2/n).
        f1, f2: their degrees of freedom.
    """
    v1, v2, _ = np.broadcast_arrays(np.asarray(v1, float), np.asarray(v2, float), difference)
    total = v1 + v2
    with np.errstate(divide="ignore", invalid="ignore"):
        dof = total**2 / (v1**2 / f1 + v2**2 / f2)
    return np.sqrt(total), np.where(total > 0, dof, np.nan)


def _quadrature(f1: float, f2: float) -> tuple[Array, Array]:
    """Nodes of B and weights that sum to one, by B = sin^2(theta)."""
    theta = math.pi / 4 * (_NODES + 1)
    log_density = (
        (f1 - 1) * np.log(np.sin(theta))
        + (f2 - 1) * np.log(np.cos(theta))
        + math.log(2)
        - betaln(f1 / 2, f2 / 2)
    )
    return np.sin(theta) ** 2, math.pi / 4 * _WEIGHTS * np.exp(log_density)


def rejection(level: Any, f1: float, f2: float, share: Any, shift: float = 0.0) -> Array:
    """Chance that the two-sided test at nominal `level` rejects; broadcasts.

    Args:
        share: of group 1 in the true variance of the difference.
        shift: true difference over its true standard error.
    """
    b, weights = _quadrature(f1, f2)
    level, share = (np.asarray(x, float)[..., None] for x in np.broadcast_arrays(level, share))
    one, two = share * b / f1, (1 - share) * (1 - b) / f2
    dof = (one + two) ** 2 / (one**2 / f1 + two**2 / f2)
    total = f1 + f2
    bound = -stdtrit(dof, level / 2) * np.sqrt(total * (one + two))
    chance = 2 * stdtr(total, -bound) if shift == 0 else beyond(total, shift, bound)
    return np.asarray((weights * chance).sum(axis=-1), dtype=float)


def beyond(dof: float, shift: float, bound: Any) -> Any:
    """Chance that noncentral t lies outside +-`bound`, for a shift of 0 or more.

    scipy's nctdtr gives nan for far tails below about 1e-18, and for all beyond a shift of about
    38. Beyond 30 the normal part no longer matters beside the shift, which leaves the chi-square
    of the scatter.
    """
    if shift > 30:
        return chdtr(dof, dof * (shift / bound) ** 2)
    far = np.nan_to_num(nctdtr(dof, shift, -bound), nan=0.0)
    return 1 - nctdtr(dof, shift, bound) + far


@lru_cache(maxsize=256)
def _kept_table(f1: float, f2: float) -> Array:
    p = np.exp(_LOG_P)
    worst = rejection(p[:, None], f1, f2, _SHARES[None, :]).max(axis=1)
    return np.asarray(np.log(np.minimum(np.maximum(worst, p), 1.0)), dtype=float)


def kept(p: Any, f1: float, f2: float) -> Array:
    """The level a nominal two-sided p stands for at the worst ratio of scatters.

    A p below 1e-10 counts as 1e-10.
    """
    low, high = sorted((f1, f2))
    if low == 0:
        return np.asarray(p, dtype=float)
    log_p = np.log(np.maximum(np.asarray(p, float), math.exp(_LOG_P[0])))
    return np.asarray(np.exp(np.interp(log_p, _LOG_P, _kept_table(low, high))), dtype=float)


def nominal(level: float, f1: float, f2: float) -> float:
    """The nominal two-sided level at which the test keeps `level`: inverse of `kept`."""
    low, high = sorted((f1, f2))
    if low == 0:
        return level
    return float(np.exp(np.interp(math.log(level), _kept_table(low, high), _LOG_P)))


def two_sided(difference: Any, se: Any, dof: Any, f1: float, f2: float) -> Array:
    """p of "no difference", kept at its level; nan where the standard error is zero."""
    with np.errstate(divide="ignore", invalid="ignore"):
        t = np.abs(difference) / np.asarray(se, float)
    return kept(2 * stdtr(dof, -t), f1, f2)


def equivalence(difference: Any, se: Any, dof: Any, margin: float, f1: float, f2: float) -> Array:
    """p of "the difference is `margin` or more", the larger of two one-sided tests.

    Schuirmann 1987. Above one half it is left as it is.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        p = stdtr(dof, (np.abs(difference) - margin) / np.asarray(se, float))
    return np.where(p < 0.5, kept(np.minimum(2 * p, 1.0), f1, f2) / 2, p)


def factor(level: float, dof: float, f1: float, f2: float) -> float:
    """Standard errors to each side of an interval that fails in at most `level` of studies."""
    return float(-stdtrit(dof, nominal(level, f1, f2) / 2))


def power(shift: float, level: float, f1: float, f2: float, share: float = 0.5) -> float:
    """Chance that a true difference of `shift` standard errors is found at `level`."""
    if f2 == 0:
        return float(beyond(f1, shift, -stdtrit(f1, level / 2)))
    return float(rejection(nominal(level, f1, f2), f1, f2, share, shift))


def detectable(
    level: float, f1: float, f2: float, share: float = 0.5, chance: float = 0.8
) -> float:
    """The true difference, in standard errors, that is found with `chance`."""
    if not level < chance < 1:
        raise ValueError(f"chance {chance} at level {level}")

    def short(shift: float) -> float:
        return power(shift, level, f1, f2, share) - chance

    top = 4.0
    while short(top) < 0:
        top *= 2
    return float(brentq(short, 1e-6, top, xtol=1e-6))
