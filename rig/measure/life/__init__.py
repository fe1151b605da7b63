"""Edge life: cuts until an edge is dull, known as intervals, fitted and compared.

What the rest of the project calls is gathered here.
"""

from rig.measure.life.estimate import Estimate
from rig.measure.life.family import Family
from rig.measure.life.fit import LifeFit, fit, quantile
from rig.measure.life.likelihood import NO_PAST, Past
from rig.measure.life.lives import Life, by_group, survivor
from rig.measure.life.ratio import median_ratio

__all__ = [
    "NO_PAST",
    "Estimate",
    "Family",
    "Life",
    "LifeFit",
    "Past",
    "by_group",
    "fit",
    "median_ratio",
    "quantile",
    "survivor",
]
