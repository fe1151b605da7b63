"""What the blades that are there cost: hours, days, and what is used up; in plain lines."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby

from rig.study.register.calendar import Stint, by_block, schedule, used_up
from rig.study.register.kept import procedures
from rig.study.register.record import StudyRecord
from rig.study.statistics.phrases import many


def entered(record: StudyRecord) -> list[Stint]:
    """The tests of the blades entered, day by day; which blade on which day is drawn later."""
    groups: Mapping[str, Sequence[str]] = {
        group.name: [b.name for b in record.blade if b.group == group.name]
        for group in record.group
    }
    return schedule(record, groups, procedures(record), "")


def lines(record: StudyRecord, stints: Sequence[Stint]) -> Iterator[str]:
    """For people: the whole, then each day."""
    if not stints:
        return
    blocks = by_block(stints)
    over = (
        many(len(blocks), "block")
        if record.has_blocks
        else f"{many(len(blocks), 'day')} of {record.hours_a_day:g} hours"
    )
    trials = sum(one.trials for one in stints)
    yield (
        f"The {many(len(record.blade), 'blade')} entered: {many(trials, 'trial')}, about "
        f"{hours(stints):.2g} hours at the bench, over {over}"
    )
    if spent := supplies(record, stints):
        yield f"  used up: {spent}"
    days = [(block, _a_day(record, own)) for block, own in blocks.items()]
    for (first, *more), alike in groupby(days, key=lambda one: one[1]):
        names = [block for block, _ in alike]
        yield f"  {_named(names)}, {'each ' * (len(names) > 1)}{first}"
        yield from (f"    {text}" for text in more)


def _a_day(record: StudyRecord, own: Sequence[Stint]) -> list[str]:
    """Hours and tests of one day, then what it takes."""
    tests = ", ".join(f"{one.procedure} of {many(len(one.blades), 'blade')}" for one in own)
    late = " (longer than a day)" if hours(own) > record.hours_a_day + 1e-9 else ""
    spent = supplies(record, own)
    return [f"{hours(own):.2g} hours{late}: {tests}", *([f"take: {spent}"] if spent else [])]


def _named(blocks: Sequence[str]) -> str:
    """One block, or the first and last of several: "day 2 to day 5"."""
    return blocks[0] if len(blocks) == 1 else f"{blocks[0]} to {blocks[-1]}"


def hours(stints: Iterable[Stint]) -> float:
    """At the bench, with setting up."""
    return sum(one.minutes for one in stints) / 60


def supplies(record: StudyRecord, stints: Iterable[Stint]) -> str:
    """What is used up, in words; "" for nothing."""
    return ", ".join(_counted(count, what) for count, what in used_up(record, stints))


def _counted(count: int, what: str) -> str:
    """ "9 fresh places in hardwood", "180 sheets of card at most"."""
    noun, joint, rest = next(
        ((a, joint, b) for joint in (" of ", " in ") for a, s, b in [what.partition(joint)] if s),
        (what, "", ""),
    )
    most = " at most" if noun.startswith("sheet") else ""
    return f"{many(count, noun)}{joint}{rest}{most}"
