"""Staircase: the level at which half fail, from trials whose level follows each outcome."""

from rig.measure.staircase.threshold import compare_staircases, estimates, likelihood
from rig.measure.staircase.updown import Estimate, Staircase, dixon_mood, small_sample, sums

__all__ = [
    "Estimate",
    "Staircase",
    "compare_staircases",
    "dixon_mood",
    "estimates",
    "likelihood",
    "small_sample",
    "sums",
]
