"""Days of the calendar: which tests of which blades fill each day at the bench.

Test by test, in the order in which a blade goes through them, so that each jig is set up as seldom
as can be. A day takes whole rounds, one blade of every group, as long as it has room for one: what
differs from day to day then meets all groups alike.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rig.study.register import conditions
from rig.study.register.order import balanced_blocks, in_rounds
from rig.study.register.responses import KINDS

if TYPE_CHECKING:
    from rig.study.register.record import StudyRecord

SETUP_MIN = 15.0
"""To mount and check a jig, once a day and test; common practice, no source."""
DROP_MIN = 4.0
"""A further drop on the same blade; common practice, no source."""


@dataclass(frozen=True)
class Stint:
    """One test on some blades on one day, in one go.

    Attributes:
        block: the day, or the block that the study file names.
        repeats: trials on each blade.
        minutes: with setting up.
    """

    block: str
    procedure: str
    blades: tuple[str, ...]
    repeats: int
    minutes: float

    @property
    def trials(self) -> int:
        """In all."""
        return len(self.blades) * self.repeats


def minutes(record: "StudyRecord", procedure: str) -> float:
    """About so long one trial takes (`OnSpecimen.minutes`), without setting up."""
    told = max(kind.minutes for kind in KINDS.values() if kind.procedure == procedure)
    drops = conditions.stated(record, procedure).get("drops", "1")
    if procedure == "drop_impact" and drops.isdecimal():
        told += DROP_MIN * (int(drops) - 1)
    return told


def schedule(
    record: "StudyRecord", groups: Mapping[str, Sequence[str]], repeats: Mapping[str, int],
    secret: str,
) -> list[Stint]:  # fmt: skip
    """All tests of a study, day by day, or block by block where its file names blocks.

    Args:
        record: states the hours of a day.
        groups: group -> blades (or their codes).
        repeats: procedure -> trials on each blade, in the order of the tests.
        secret: by which blades of a group are drawn for a day.
    """
    if record.has_blocks:
        return list(_by_blocks(record, groups, repeats, secret))
    day_min = 60 * record.hours_a_day
    told, day, used = list[Stint](), 1, 0.0
    for procedure, times in repeats.items():
        each = times * minutes(record, procedure)
        waiting = in_rounds(groups, secret, procedure)
        while waiting:
            room = int((day_min - used - SETUP_MIN + 1e-9) // each)
            count = _fitting(room, len(waiting), len(groups), fresh=used == 0)
            if count:
                blades, waiting = tuple(waiting[:count]), waiting[count:]
                spent = SETUP_MIN + count * each
                told.append(Stint(f"day {day}", procedure, blades, times, spent))
                used += spent
            if waiting:
                day, used = day + 1, 0.0
    return told


def _by_blocks(
    record: "StudyRecord", groups: Mapping[str, Sequence[str]], repeats: Mapping[str, int],
    secret: str,
) -> Iterator[Stint]:  # fmt: skip
    """Each block once, with all tests of its blades."""
    for block, blades in balanced_blocks(groups, record.blocks, secret).items():
        for procedure, times in repeats.items():
            spent = SETUP_MIN + len(blades) * times * minutes(record, procedure)
            yield Stint(block, procedure, blades, times, spent)


def _fitting(room: int, waiting: int, groups: int, fresh: bool) -> int:
    """How many blades a day takes: all, whole rounds, or on a day of its own what it can."""
    if room >= waiting:
        return waiting
    if room >= groups:
        return room // groups * groups
    return max(room, 1) if fresh else 0


def by_block(stints: Iterable[Stint]) -> dict[str, list[Stint]]:
    """Day or block -> its tests."""
    told: dict[str, list[Stint]] = {}
    for one in stints:
        told.setdefault(one.block, []).append(one)
    return told


def needs(record: "StudyRecord", procedure: str, trials: int) -> Iterator[tuple[int, str]]:
    """What so many trials use up, as (how many, of what)."""
    given = conditions.fixed(record, procedure)

    def count(name: str) -> int:
        text = given.get(name, "1")
        return int(text) if text.isdecimal() else 1

    if procedure in ("drop_impact", "staircase_impact"):
        yield trials * count("drops"), "fresh face of the rod"
    elif procedure == "edge_twist":
        yield trials, "fresh slot in hardwood"
    elif procedure == "pry_to_failure":
        for wood in given.get("schedule", "hardwood").split(","):
            yield trials, f"fresh place in {wood.strip()}"
    elif procedure == "sharpness" and "force" in given.get("probe", ""):
        yield trials * count("readings"), "fresh length of cord"
    elif procedure == "cuts_to_dull":
        sheets = -(-count("limit") // max(count("cuts_per_sheet"), 1))
        yield trials * sheets, f"sheet of {given.get('media') or 'card'}"


def used_up(record: "StudyRecord", stints: Iterable[Stint]) -> list[tuple[int, str]]:
    """What some tests use up together."""
    told: dict[str, int] = {}
    for one in stints:
        for count, what in needs(record, one.procedure, one.trials):
            told[what] = told.get(what, 0) + count
    return [(count, what) for what, count in told.items()]
