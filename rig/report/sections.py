"""What a page says of one kind of test: its words, its table, its picture, its limits."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from rig.guide.kind import OnSpecimen
from rig.guide.kinds import ON_SPECIMEN, require_whole
from rig.report.gather import MeasuredTrial
from rig.report.ink import Picture as Picture
from rig.report.ink import quantity as quantity


@dataclass(frozen=True)
class Section:
    """One kind of test on the page.

    Attributes:
        kind: of measurand; its title and what one trial is called are the registry's.
        columns, cells: of the table of all trials; verdict and name come before them. A column
            that is empty for every trial is left out.
        words: the measurands in the order shown, with what each is called.
        formula: how the main measurand, whose budget is shown, comes about.
        said: a trial in a few words, for the sentence at the top; "" when nothing can be stated.
        picture: of one trial; None when there is nothing to show.
        limits: what the page cannot say.
        rests_on: what the results rest on where no certificate of the bench enters them.
        more_limits: what it cannot say of a trial that measured more than the others.
        hedged: why the ± of a trial's main value is worth less than it says; "" when it is not.
        called: what `said` tells of a trial, where that is not the main measurand; else "".
    """

    kind: str
    columns: tuple[str, ...]
    cells: Callable[[MeasuredTrial], list[str]]
    words: Mapping[str, str]
    formula: str
    said: Callable[[MeasuredTrial], str]
    picture: Callable[[MeasuredTrial], Picture | None]
    limits: tuple[str, ...]
    rests_on: str = ""
    more_limits: Callable[[MeasuredTrial], tuple[str, ...]] = lambda _: ()
    hedged: Callable[[MeasuredTrial], str] = lambda _: ""
    called: Callable[[MeasuredTrial], str] = lambda _: ""

    @property
    def of(self) -> OnSpecimen:
        """What the registry says of the kind."""
        return ON_SPECIMEN[self.kind]

    @property
    def title(self) -> str:
        """Of the page."""
        return self.of.title

    @property
    def noun(self) -> str:
        """What one trial is called."""
        return self.of.noun

    @property
    def main(self) -> str:
        """The measurand that is told first and whose budget is shown."""
        return self.of.main


def attached(*sections: Section) -> dict[str, Section]:
    """The sections by their kinds.

    Raises:
        LookupError: a kind on a specimen has none, or one is of no such kind.
    """
    table = {section.kind: section for section in sections}
    require_whole(table, "section of the page")
    return table


ONE_BLADE = (
    "One blade says nothing about a heat treatment: blades differ. Repeats on one blade are not "
    "more blades."
)


def stated(trial: MeasuredTrial, name: str, otherwise: str = "none can be stated") -> str:
    """One measurand of a trial with its U, or words in its place."""
    found = trial.result["measurands"].get(name)
    return otherwise if found is None else quantity(found)


def left_out(trial: MeasuredTrial) -> str:
    """Single readings of the load cell that stood alone and were left out; "" for none."""
    count = round(trial.result["figures"].get("load_spikes", 0))
    return f"; {count} lone reading(s) of the load cell left out" if count else ""


def damage(trial: MeasuredTrial) -> str:
    """The damage that was entered."""
    found = trial.damage
    if found is None:
        return "not entered"
    if found["kind"] == "none":
        return f"none seen{_unseen(found)}"
    sizes = [
        f"{name.removesuffix('_m')} {found[name] * 1e3:.3g} mm"
        for name in ("depth_m", "width_m", "length_m")
        if name in found
    ]
    return f"{found['kind']}, {', '.join(sizes)} (u {found['u_m'] * 1e3:.2g} mm)"


def _unseen(found: Mapping[str, Any]) -> str:
    """What may be there all the same; runs of an older procedure did not ask."""
    smallest = found.get("smallest_m")
    return "" if smallest is None else f" (below {smallest * 1e3:.3g} mm it might not have been)"
