"""What a study holds before any statistic: groups, loads, blades, observations, one response.

The unit is the blade, never the trial. `check` refuses data that contradict themselves; data that
are only thin go through, and the results say what cannot be told from them.
"""

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from rig.errors import RigError

LOG, LINEAR = "log", "linear"
MORE, LESS, NEITHER = "more", "less", "neither"  # which way a response is better
RIGHT, LEFT = "right", "left"
UNKNOWN_LOAD = "unknown"  # as people may write it; records of earlier versions hold ""


@dataclass(frozen=True)
class Observation:
    """One trial's value on one blade.

    Args:
        group: name of the blade's group (recipe, geometry, steel ...).
        blade: name of the blade.
        value: in the response's unit; for a censored one its bound.
        load: furnace load the blade was treated in; "" or "unknown" when none is on record.
        u: standard uncertainty of measurement, in the unit of `value`.
        censored: "", "right" (the true value is above `value`) or "left" (at most `value`).
        trials: ids of the trials it came from.
    """

    group: str
    blade: str
    value: float
    load: str = ""
    u: float = 0.0
    censored: str = ""
    trials: tuple[str, ...] = ()


@dataclass(frozen=True)
class BladeFacts:
    """Geometry of a blade: angle per side and thickness behind the edge; None = not measured."""

    blade: str
    angle_deg: float | None = None
    thickness_m: float | None = None


@dataclass(frozen=True)
class Group:
    """One combination of the factors under study."""

    name: str
    is_control: bool = False


@dataclass(frozen=True)
class Response:
    """What is compared, on which scale, and how much of it matters.

    Args:
        scale: "log" (positive values, compared as ratios) or "linear" (as differences).
        smallest: smallest difference that matters: a ratio above 1, or a difference above 0.
        margin: a difference below this counts as none: a ratio above 1, or a difference above 0.
        better: `MORE`, `LESS` or `NEITHER`; `better_because` where that is not the usual way.
    """

    name: str
    unit: str
    scale: str
    smallest: float
    margin: float
    better: str = MORE
    better_because: str = ""

    def __post_init__(self) -> None:
        if self.scale not in (LOG, LINEAR):
            raise ValueError(f"{self.name}: unknown scale {self.scale!r}")
        least, kind = (1, "a ratio above 1") if self.scale == LOG else (0, "above 0")
        for label, value in (("smallest difference", self.smallest), ("margin", self.margin)):
            if not least < value < math.inf:
                raise RigError(
                    f"{label} is {value:g}", where=self.name, remedy=f"state {kind}", value=value
                )

    def inward(self, value: float) -> float:
        """A value on the scale of analysis (its logarithm on the log scale)."""
        return math.log(value) if self.scale == LOG else value

    def outward(self, value: float) -> float:
        """Back from the scale of analysis: a ratio on the log scale (infinite beyond e^700)."""
        if self.scale != LOG:
            return value
        return math.exp(value) if value < 700 else math.inf

    def inward_u(self, value: float, u: float) -> float:
        """A standard uncertainty on the scale of analysis, to first order."""
        return u / value if self.scale == LOG else u


@dataclass(frozen=True)
class StudyData:
    """One response of a study: groups, observations, geometry of the blades.

    Args:
        block_of: blade -> block of its trial (day, sheet), for blades tested in one block.
    """

    response: Response
    groups: tuple[Group, ...]
    observations: tuple[Observation, ...]
    facts: tuple[BladeFacts, ...] = ()
    block_of: Mapping[str, str] = field(default_factory=dict)

    @property
    def control(self) -> str | None:
        """Name of the control, None when there is none."""
        return next((group.name for group in self.groups if group.is_control), None)


def check(data: StudyData) -> None:
    """Refuse data that contradict themselves.

    Raises:
        RigError: naming the group, blade or trial and what to mend.
    """
    _check_groups(data)
    known = {group.name for group in data.groups}
    for seen in data.observations:
        _check_observation(seen, data.response, known)
    _one_each(data, "group", lambda seen: seen.group)
    _one_each(data, "furnace load", lambda seen: seen.load)
    _check_repeats(data)


def _check_groups(data: StudyData) -> None:
    twice = repeated(group.name for group in data.groups)
    if twice:
        raise RigError(f"group {twice[0]} is there twice", remedy="give each group its own name")
    controls = [group.name for group in data.groups if group.is_control]
    if len(controls) > 1:
        raise RigError(f"controls are {' and '.join(controls)}", remedy="name one control")


def _check_observation(seen: Observation, response: Response, known: set[str]) -> None:
    where = f"blade {seen.blade}" + (f", trial {seen.trials[0]}" if seen.trials else "")
    if seen.group not in known:
        raise RigError(f"unknown group {seen.group}", where=where, remedy="add it to the study")
    if seen.censored not in ("", RIGHT, LEFT):
        raise ValueError(f"{where}: censored is {seen.censored!r}")
    if not math.isfinite(seen.value) or not math.isfinite(seen.u) or seen.u < 0:
        raise RigError(f"value {seen.value} with u {seen.u}", where=where, remedy="correct it")
    if response.scale == LOG and seen.value <= 0:
        raise RigError(
            f"{response.name} is {seen.value:g} {response.unit}; a ratio needs values above 0",
            where=where,
            remedy="correct it, or compare this response on the linear scale",
            value=seen.value,
        )


def _one_each(data: StudyData, kind: str, of: Callable[[Observation], str]) -> None:
    first: dict[str, str] = {}
    for seen in data.observations:
        known = first.setdefault(seen.blade, of(seen))
        if known != of(seen):
            raise RigError(
                f"{kind} is {known or 'none'} and {of(seen) or 'none'}",
                where=f"blade {seen.blade}",
                remedy=f"a blade has one {kind}",
            )


def _check_repeats(data: StudyData) -> None:
    twice = repeated(trial for seen in data.observations for trial in seen.trials)
    if twice:
        raise RigError(f"trial {twice[0]} is counted twice", remedy="leave one out")
    twice = repeated(facts.blade for facts in data.facts)
    if twice:
        raise RigError(f"geometry of blade {twice[0]} is there twice", remedy="leave one out")


def is_known(load: str) -> bool:
    """Whether the furnace load of a blade is on record."""
    return load.strip().casefold() not in ("", UNKNOWN_LOAD)


def repeated(names: Iterable[str]) -> list[str]:
    """Names that occur more than once, in the order they were met."""
    return [name for name, times in Counter(names).items() if times > 1]
