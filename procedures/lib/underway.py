"""A cuts test under way: cuts from probe to probe, sheet by sheet, with all that is counted."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from statistics import fmean
from typing import Any

from procedures.lib import cutplan, cutting
from rig.bench import Bench
from rig.guide.steps import Ask, Passage


@dataclass
class Underway:
    """One trial under way."""

    specimen: str
    plan: cutplan.Plan
    used: cutting.How
    bench: Bench
    params: Mapping[str, Any]
    cuts: int = 0
    typed: int = 0
    rejected: dict[str, int] = field(default_factory=dict)
    probes: list[dict[str, Any]] = field(default_factory=list)
    skipped: list[dict[str, Any]] = field(default_factory=list)
    forces: list[list[float]] = field(default_factory=list)
    sheets: list[str] = field(default_factory=list)
    controls: list[dict[str, Any]] = field(default_factory=list)
    left_on_sheet: int = 0
    zero_code: float = 0.0
    sheet_share: float = 1.0  # force of the control blade on the first sheet over that on this one
    stopped: str = ""

    @property
    def trial(self) -> str:
        """Its name."""
        return f"{self.specimen} cuts"


def cut_to(test: Underway, due: int) -> Passage[None]:
    """Cuts up to the next probe, sheet by sheet."""
    mounted = False
    while test.cuts < due and not test.stopped:
        new = False
        if test.left_on_sheet <= 0:
            yield from _fresh_sheet(test)
            mounted = mounted and not test.params["control"]
        if not mounted:
            yield cutting.mount(test.specimen, test.used, test.bench)
            mounted = new = True
        count = min(due - test.cuts, test.left_on_sheet, cutting.PIECE)
        made = yield from cutting.stretch(
            f"{test.trial} from {test.cuts}",
            f"{test.specimen}: at {cutting.NOW[test.used.driven]} {count} cuts, after {test.cuts}; "
            f"probe at {due}.",
            count, test.used, test.bench, new,
        )  # fmt: skip
        _take(test, made)
        if made["paused"]:
            yield from _pause(test, made["paused"])


def _take(test: Underway, made: Mapping[str, Any]) -> None:
    if made["mean_codes"]:
        newton = cutting.newton_per_code(test.bench)
        force = newton * (fmean(made["mean_codes"]) - test.zero_code) * test.sheet_share
        test.forces.append([test.cuts + made["counted"] / 2, force])
    test.cuts += made["counted"]
    test.typed += made["typed"]
    test.left_on_sheet -= made["counted"]
    for key, number in made["rejected"].items():
        test.rejected[key] = test.rejected.get(key, 0) + number


def _fresh_sheet(test: Underway) -> Passage[None]:
    """The next sheet; its control blade goes first."""
    label = yield from cutting.sheet(len(test.sheets) + 1, test.specimen, test.used, test.bench)
    test.sheets.append(label)
    test.left_on_sheet = test.params["cuts_per_sheet"]
    if test.used.load:
        test.zero_code = yield from cutting.zero(f"{test.trial} zero on {label}")
    name = test.params["control"]
    if name:
        told = yield from cutting.control(
            name, label, test.params["control_cuts"], test.zero_code, test.used, test.bench
        )
        test.controls.append({**told, "at_cuts": test.cuts})
        test.left_on_sheet -= told["cuts"]
        if told["force_n"] and test.controls[0]["force_n"]:
            test.sheet_share = test.controls[0]["force_n"] / told["force_n"]


def _pause(test: Underway, why: str) -> Passage[None]:
    answer = yield Ask(
        f"{test.cuts} cuts so far ({why}). Go on, another sheet (media ran out), or end the test?",
        key="pause", kind="choice", choices=("go on", "media", "end"),
    )  # fmt: skip
    if answer["value"] == "media":
        test.left_on_sheet = 0
    elif answer["value"] == "end":
        reason = yield Ask("Why does it end here?", key="stopped")
        test.stopped = str(reason["value"])
