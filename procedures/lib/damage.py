"""Damage of an edge as the eye and the caliper find it, each size with its own uncertainty."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from procedures.lib import questions
from rig.guide.steps import Ask, Note, Passage

Kind = tuple[str, questions.Band, questions.Band]
DEPTH: Kind = ("depth", questions.DAMAGE, questions.DAMAGE_DEEP)
ALONG: Kind = ("width", questions.ALONG_BLADE, questions.DAMAGE_LONG)
TWISTED: Kind = ("width", questions.ALONG_BLADE, questions.TWISTED_LONG)
"""Key of the question, what can be met and what is usual, of a depth and of lengths along."""


@dataclass
class Eye:
    """How one person sees damage in one run: asked once, and what was found so far.

    Attributes:
        u_m: standard uncertainty of a size read; None: not asked yet.
        smallest_m: the smallest damage that would have been seen; None: not asked yet.
        found_m: sizes found so far, by name.
    """

    u_m: float | None = None
    smallest_m: float | None = None
    found_m: dict[str, list[float]] = field(default_factory=dict)


def entered(
    trial: str, where: str, sizes: Mapping[str, tuple[str, Kind]], eye: Eye
) -> Passage[dict[str, Any]]:
    """Kind, sizes and standard uncertainty in metres, noted as the trial's damage.

    Who sees none has read 0 on each size. Damage smaller than `smallest_m`, which would just have
    been seen, may be there: anywhere from 0 to that, so that 0 is off by smallest_m/sqrt(3) in
    the root mean square (JCGM 100, 4.3.7: a rectangular distribution).

    Args:
        trial: its name.
        where: the first question, which kind it is.
        sizes: what is recorded -> the question and its kind, such as `DEPTH`.
        eye: of who looks; what is asked once a run is put down there.
    """
    kind = yield Ask(where, key="damage", kind="choice", choices=("none", "roll", "chip", "crack"))
    found: dict[str, Any] = {"kind": kind["value"]}
    if kind["value"] == "none":
        if eye.smallest_m is None:
            eye.smallest_m = yield from questions.smallest_seen()
        found |= dict.fromkeys(sizes, 0.0)
        found |= {"smallest_m": eye.smallest_m, "u_m": eye.smallest_m / math.sqrt(3)}
    else:
        for name, (text, (key, band, usual)) in sizes.items():
            fellows = eye.found_m.setdefault(name, [])
            found[name] = yield from questions.length(text, key, band, usual=usual, fellows=fellows)
            fellows.append(found[name])
        if eye.u_m is None:
            eye.u_m = yield from questions.how_sure()
        found["u_m"] = eye.u_m
    yield Note(f"Damage of {trial}", kind="damage", body={"trial": trial, **found})
    return found
