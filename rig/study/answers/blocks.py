"""Blocks (day, sheet, roll) beside the verdict: what was done about them and what they differ by.

The order deals every group's blades to the blocks alike, as far as their numbers go. Where blades
are what is counted, the comparison gives each block the same weight in both groups
(`rig.study.statistics.contrasts`), so that blocks favour no group even when numbers are odd, as
long as each holds both groups. What blocks differ by stays in the scatter within each group:
"difference shown" comes more seldom than the stated 5 %, never oftener (tests/bench/valueworlds.py
simulates it). Groups that share no block are another thing: a block then looks like a treatment.
"""

import math
from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np
from scipy.special import stdtrit

from rig.study.statistics.contrasts import held_equal, pairs_of
from rig.study.statistics.data import StudyData
from rig.study.statistics.phrases import amount, begin, span
from rig.study.statistics.units import BLADE, BladeMean, in_order, layout
from rig.study.statistics.verdict import LEVEL

LEAST = 3  # degrees of freedom for an interval worth stating


def sentences(data: StudyData, block_of: Mapping[str, str], weighed: bool = True) -> list[str]:
    """What the blocks mean for this response; nothing where there is one block only.

    Args:
        data: as compared.
        block_of: blade -> block of its trial in this response, as planned.
        weighed: no comparison rests on bounds: `rig.study.statistics.contrasts` holds blocks equal
            then.
    """
    blades = [blade for blade in in_order(data) if blade.blade in block_of]
    names = list(dict.fromkeys(block for block in block_of.values()))
    if len(names) < 2 or not blades:
        return []
    start = f"Blocks ({', '.join(names)})"
    counts = _counts(blades, block_of)
    if weighed and _shared(data, block_of):
        text = (
            f"{start} have the same weight in both groups of a comparison: what they differ by "
            "favours no group. It counts as scatter of blades, so it can hide a difference, not "
            "make one."
        )
    elif _alike(counts, names):
        text = (
            f"{start} hold the groups in equal shares and stay out of the tests: what they differ "
            "by favours no group and counts as scatter, so it can hide a difference, not make one."
        )
    else:
        return [
            f"{start} are not balanced among the blades that count ({_said(counts, names)}): what "
            "blocks differ by may look like a difference between groups. It is left to the chance "
            "by which blades were dealt to blocks, and counts as scatter; no test takes it out."
        ]
    return [" ".join([text, *_estimates(data, blades, block_of, names)])]


Counts = Mapping[str, Counter[str]]


def _counts(blades: Sequence[BladeMean], block_of: Mapping[str, str]) -> Counts:
    counts: dict[str, Counter[str]] = {}
    for blade in blades:
        counts.setdefault(blade.group, Counter())[block_of[blade.blade]] += 1
    return counts


def _shared(data: StudyData, block_of: Mapping[str, str]) -> bool:
    """Whether every comparison of blades has only blocks that hold both groups."""
    plan = layout(data)
    sides = {name: [b for b in plan.blades if b.group == name] for name in plan.cells}
    pairs = [(one, two) for one, two in pairs_of(data)[0] if sides[one] and sides[two]]
    return plan.unit == BLADE and all(
        held_equal(sides[one], sides[two], block_of) for one, two in pairs
    )


def _alike(counts: Counts, names: Sequence[str]) -> bool:
    shares = [[own[name] / own.total() for name in names] for own in counts.values()]
    return all(np.allclose(share, shares[0]) for share in shares)


def _said(counts: Counts, names: Sequence[str]) -> str:
    return "; ".join(
        f"{group}: " + ", ".join(f"{own[name]} in {name}" for name in names)
        for group, own in counts.items()
    )


def _estimates(
    data: StudyData, blades: Sequence[BladeMean], block_of: Mapping[str, str],
    names: Sequence[str],
) -> list[str]:  # fmt: skip
    if any(blade.censored for blade in blades) or layout(data).unit != BLADE:
        return []
    found = differences(
        [(blade.mean, blade.group, block_of[blade.blade]) for blade in blades], names
    )
    response, out = data.response, data.response.outward
    return [
        f"{begin(name)} against {names[0]}, within groups: {amount(response, out(middle))}; with "
        f"95 % confidence {span(response, out(middle - reach), out(middle + reach))}."
        for name, (middle, reach) in found.items()
    ]


def differences(
    rows: Sequence[tuple[float, str, str]], names: Sequence[str]
) -> dict[str, tuple[float, float]]:
    """Every block against the first: difference and half of its interval, groups held equal.

    Least squares with groups and blocks as fixed effects and one scatter; intervals hold for all
    blocks together with 95 % confidence (Bonferroni). Empty when too few blades are there, or when
    groups and blocks cannot be told apart.

    Args:
        rows: (value on the scale of analysis, group, block) of each blade.
        names: of the blocks, in their order.
    """
    groups, later = list(dict.fromkeys(group for _, group, _ in rows)), list(names[1:])
    x = np.array(
        [
            [float(group == name) for name in groups] + [float(block == name) for name in later]
            for _, group, block in rows
        ]
    )
    y = np.array([value for value, _, _ in rows])
    dof = len(y) - x.shape[1]
    if dof < LEAST or np.linalg.matrix_rank(x) < x.shape[1]:
        return {}
    inverse = np.linalg.inv(x.T @ x)
    beta = inverse @ x.T @ y
    variance = float(((y - x @ beta) ** 2).sum()) / dof
    t = float(-stdtrit(dof, LEVEL / len(later) / 2))
    at = {name: len(groups) + i for i, name in enumerate(later)}
    return {
        name: (float(beta[i]), t * math.sqrt(variance * float(inverse[i, i])))
        for name, i in at.items()
    }
