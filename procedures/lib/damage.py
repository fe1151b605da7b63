"""Damage of an edge as the eye and the caliper find it, each size with its own uncertainty."""

import math
from collections.abc import Mapping
from typing import Any

from procedures.lib import questions
from rig.guide.steps import Ask, Note, Passage

DEPTH = ("depth", questions.DAMAGE)
ALONG = ("width", questions.ALONG_BLADE)
"""Key of the question and what can be met, of a depth and of a length along the edge."""


def entered(
    trial: str, where: str, sizes: Mapping[str, tuple[str, tuple[str, questions.Band]]]
) -> Passage[dict[str, Any]]:
    """Kind, sizes and standard uncertainty in metres, noted as the trial's damage.

    Who sees none has read 0 on each size. Damage smaller than `smallest_m`, which would just have
    been seen, may be there: anywhere from 0 to that, so that 0 is off by smallest_m/sqrt(3) in
    the root mean square (JCGM 100, 4.3.7: a rectangular distribution).

    Args:
        trial: its name.
        where: the first question, which kind it is.
        sizes: what is recorded -> the question and its kind, `DEPTH` or `ALONG`.
    """
    kind = yield Ask(
        where, key="damage", kind="choice", choices=("none", "roll", "chip", "crack")
    )  # fmt: skip
    found: dict[str, Any] = {"kind": kind["value"]}
    if kind["value"] == "none":
        smallest = yield from questions.smallest_seen()
        found |= dict.fromkeys(sizes, 0.0)
        found |= {"smallest_m": smallest, "u_m": smallest / math.sqrt(3)}
    else:
        for name, (text, (key, band)) in sizes.items():
            found[name] = yield from questions.length(text, key, band)
        found["u_m"] = yield from questions.how_sure()
    yield Note(f"Damage of {trial}", kind="damage", body={"trial": trial, **found})
    return found
