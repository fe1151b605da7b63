"""Trials of one blade that differ by more than their own uncertainty allows.

Their mean then has no +-: the uncertainty of measurement is too small for it, and the scatter of
two or three trials gives one that tells nothing (Student's t of two trials is 12.7). So the trials
themselves are shown. The verdict needs no mending: it rests on the blades' means, which scatter by
what their trials do.
"""

import math
from collections.abc import Sequence

from scipy.special import chdtrc

from rig.study.statistics.data import Response
from rig.study.statistics.phrases import number
from rig.study.statistics.units import BladeMean

BY_CHANCE = 0.01  # so few blades are named though nothing is amiss; fewer, as u is partly common


def differ(blade: BladeMean) -> bool:
    """Whether chance would scatter trials so far apart, for their u, less often than `BY_CHANCE`.

    Squares over u^2 follow chi-square with one degree of freedom less than trials, were u each
    trial's own; what of it is common to all makes the test say less, never more.
    """
    if len(blade.values) < 2 or blade.censored or not blade.u > 0:
        return False
    squares = math.fsum((x - blade.mean) ** 2 for x in blade.values)
    return bool(chdtrc(len(blade.values) - 1, squares / blade.u**2) < BY_CHANCE)


def ends(blade: BladeMean, response: Response) -> tuple[float, float]:
    """Smallest and largest trial, in the response's unit."""
    return response.outward(min(blade.values)), response.outward(max(blade.values))


def between(blade: BladeMean, response: Response) -> str:
    """What stands beside the mean of such a blade in place of +-."""
    low, high = ends(blade, response)
    return f"its trials {low:.4g} to {high:.4g}: further apart than their ±"


def sentences(blades: Sequence[BladeMean], response: Response) -> list[str]:
    """What must be said of a response with such blades; empty when there are none."""
    apart = [blade for blade in blades if differ(blade)]
    if not apart:
        return []
    spans = [high - low for low, high in (ends(blade, response) for blade in apart)]
    return [
        f"Trials of one blade differ by more than their ± on {', '.join(b.blade for b in apart)} "
        f"(by up to {number(max(spans))} {response.unit}): the blade differs from place to place, "
        "or a trial went wrong in a way nobody noted. So they are shown with their trials and "
        "without ±. The verdict allows for it, since it rests on how the blades' means differ."
    ]
