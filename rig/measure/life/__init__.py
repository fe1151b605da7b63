"""Edge life: cuts until an edge is dull, known as intervals, fitted and compared.

What the rest of the project calls is gathered here.
"""

from rig.measure.life.crossing import crossing
from rig.measure.life.detect import Detectable, log_sd_of, smallest_ratio, still_possible
from rig.measure.life.estimate import Estimate
from rig.measure.life.family import Family
from rig.measure.life.fit import LifeFit, fit, quantile
from rig.measure.life.likelihood import NO_PAST, Past
from rig.measure.life.lives import Life, by_group, survivor
from rig.measure.life.ranks import GroupTest, Scores, group_test
from rig.measure.life.ratio import median_ratio
from rig.measure.life.schedule import Schedule, geometric, planned, stepped
from rig.measure.life.stop import Probe, Stop, StopRule, Verdict, judge
from rig.measure.life.turnbull import Turnbull, kaplan_meier, turnbull
from rig.measure.life.wear import Wear, wear

__all__ = [
    "NO_PAST",
    "Detectable",
    "Estimate",
    "Family",
    "GroupTest",
    "Life",
    "LifeFit",
    "Past",
    "Probe",
    "Schedule",
    "Scores",
    "Stop",
    "StopRule",
    "Turnbull",
    "Verdict",
    "Wear",
    "by_group",
    "crossing",
    "fit",
    "geometric",
    "group_test",
    "judge",
    "kaplan_meier",
    "log_sd_of",
    "median_ratio",
    "planned",
    "quantile",
    "smallest_ratio",
    "stepped",
    "still_possible",
    "survivor",
    "turnbull",
    "wear",
]
