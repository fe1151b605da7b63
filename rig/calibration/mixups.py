"""A calibration that is off by a familiar factor: which unit was most likely mixed up."""

import math

KNOWN = {
    "mass": (
        (0.45359237, "the weights look like pounds entered as kilograms: kg or lb?"),
        (1 / 0.45359237, "the weights look like kilograms entered as pounds: kg or lb?"),
        (0.45359237 / 16, "the weights look like ounces entered as kilograms: kg or oz?"),
        (16 / 0.45359237, "the weights look like kilograms entered as ounces: kg or oz?"),
        (1e-3, "the weights look like grams entered as kilograms: kg or g?"),
        (1e3, "the weights look like kilograms entered as grams: kg or g?"),
        (1 / 9.80665, "the weights look like newtons entered as kilograms: kg or N?"),
        (9.80665, "the weights look like kilograms entered as newtons: kg or N?"),
    ),
    "length": (
        (25.4, "the marks look like inches entered as millimetres: mm or in?"),
        (1 / 25.4, "the marks look like millimetres entered as inches: mm or in?"),
        (10.0, "the marks look like centimetres entered as millimetres: mm or cm?"),
        (0.1, "the marks look like millimetres entered as centimetres: mm or cm?"),
    ),
}
"""Found over expected reading for each mix-up; factors from NIST SP 811, appendix B."""

NEAR = 0.08
USUAL = 1.25
"""A part may differ from its maker's figure by this factor before its calibration is refused."""


def plausible(ratio: float) -> bool:
    """Whether readings are as large as the parts' stated figures lead to expect."""
    return 1 / USUAL <= ratio <= USUAL


def hint(ratio: float, kind: str) -> str:
    """The likely mix-up behind `ratio` (found over expected), or where to look."""
    for factor, words in KNOWN[kind]:
        if ratio > 0 and abs(math.log(ratio / factor)) <= NEAR:
            return words
    what = {"mass": "weights, cell and arm", "length": "marks and count_m"}[kind]
    return f"check the {what} as stated in bench.toml"
