"""Blocks (day, sheet, roll) stay out of the test: what they differ by is told beside the verdict.

The order deals each group's blades to the blocks as evenly as they go. What blocks differ by then
moves all groups alike and adds to the scatter within each, so "difference shown" comes more seldom
than the stated 5 %, never oftener (tests/study/test_blocks.py simulates it). Taking blocks out
would cost each group a degree of freedom a block: with four blades a group that is dearer than the
scatter it saves unless blocks differ by more than blades do. Groups that sit apart in the blocks
are another thing: a block then looks like a treatment.
"""

import math
from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np
from scipy.special import stdtrit

from rig.study.data import StudyData
from rig.study.phrases import amount, begin, span
from rig.study.units import BLADE, BladeMean, in_order, layout
from rig.study.verdict import LEVEL

LEAST = 3  # degrees of freedom for an interval worth stating


def told(data: StudyData, block_of: Mapping[str, str]) -> list[str]:
    """What the blocks mean for this response; nothing where there is one block only.

    Args:
        data: as compared.
        block_of: blade -> block of its trial in this response, as planned.
    """
    blades = [blade for blade in in_order(data) if blade.blade in block_of]
    names = list(dict.fromkeys(block for block in block_of.values()))
    if len(names) < 2 or not blades:
        return []
    if apart := _apart(blades, block_of, names):
        return [
            f"Blocks ({', '.join(names)}) are not balanced among the blades that count ({apart}): "
            "what blocks differ by may look like a difference between groups. The tests do not "
            "take it out."
        ]
    text = (
        f"Blocks ({', '.join(names)}) are balanced in the order and stay out of the tests: what "
        "they differ by favours no group and counts as scatter of blades, so it can hide a "
        "difference, not make one."
    )
    return [" ".join([text, *_estimates(data, blades, block_of, names)])]


def _apart(blades: Sequence[BladeMean], block_of: Mapping[str, str], names: Sequence[str]) -> str:
    """Groups whose blades are not dealt to the blocks as evenly as they go, in words."""
    counts: dict[str, Counter[str]] = {}
    for blade in blades:
        counts.setdefault(blade.group, Counter())[block_of[blade.blade]] += 1
    return "; ".join(
        f"{group}: " + ", ".join(f"{own[name]} in {name}" for name in names)
        for group, own in counts.items()
        if max(own[name] for name in names) - min(own[name] for name in names) > 1
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
