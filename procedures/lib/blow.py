"""One blow of the drop tower on a fresh site of an edge, from clamping to the look at it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from procedures.lib import damage, tower
from rig.bench import Bench
from rig.guide import traceability
from rig.guide.steps import Ask, Do, Measure, Passage, Tell
from rig.guide.verdict import Verdict
from rig.measure.budget import Reason

SITE = (
    "at least 5 mm or three damage widths from the last mark, whichever is more; a fresh face of "
    "the rod"
)


OUT = "Leave the pin in; gloves on, blade out by its spine."


@dataclass(frozen=True)
class Asked:
    """What a blow is to be: energy and the height for it, what is let pass, and who looks."""

    energy_j: float
    height_m: float
    tolerance: float
    second_strike_allowed: bool = False
    eye: damage.Eye = field(default_factory=damage.Eye)


def blow(trial: str, number: int, specimen: str, asked: Asked, bench: Bench) -> Passage[Verdict]:
    """One blow; gives the verdict on it."""
    blank = "take the blank out, " * (number == 1)
    yield Do(
        f"Drop {number}: carriage up and clear, pin in, guard open. Gloves on: {blank}clamp blade "
        f"{specimen} by its spine, edge up under the striker, {SITE}.",
        hand="load",
        detail={"specimen": specimen},
        hazards=("edge", "falling_mass"),
    )
    fall = yield from tower.fall(trial, asked.height_m, bench)
    if fall["raw_id"] is None:
        return (yield from _unrecorded(trial, specimen, fall))
    after = yield from tower.touch_again(fall)
    told: dict[str, Any] = {
        "energy_j": asked.energy_j,
        "tolerance": asked.tolerance,
        "height_m": asked.height_m,
        "band_m": bench.tower.travel.release_band_m,
        "second_strike_allowed": asked.second_strike_allowed,
    }
    if after is not None and (yield from _stayed(trial, fall, after, bench)):
        told["stayed"] = True
    result = yield Measure(
        "Energy of this drop",
        measurand="drop",
        trial=trial,
        raw_id=fall["raw_id"],
        settings=tower.settings(bench, fall, after, told),
    )
    found = yield from look(trial, asked.eye)
    verdict = Verdict.judged(
        trial, specimen, result, fall["reasons"], traceability.lacks(bench, "drop"),
        damage=found, details=tower.figures(result),
    )  # fmt: skip
    yield Tell(tower.told(trial, result, verdict.words))  # after the look: no number colours it
    return verdict


def _stayed(
    trial: str, fall: Mapping[str, Any], after: Mapping[str, Any], bench: Bench
) -> Passage[bool]:
    """Whether a contact so much lower is a dent of the rod: only who looks can tell it from a slip.

    Asked only where it matters.
    """
    if after["boot"] != fall["contact"]["boot"]:  # its counts began anew
        return False
    lower_m = (fall["contact"]["counts"] - after["counts"]) * bench.tower.wire.count_m
    if lower_m <= bench.tower.contact.slip_limit_m:
        return False
    answer = yield Ask(
        f"{trial}: contact is {lower_m * 1e3:.1f} mm lower than before. Look, hands out: is the "
        "rod dented, or did the blade move in its clamp?",
        key="lower",
        kind="choice",
        choices=("dented", "moved", "unsure"),
    )
    return bool(answer["value"] == "dented")


def _unrecorded(trial: str, specimen: str, fall: Mapping[str, Any]) -> Passage[Verdict]:
    """The carriage may have fallen while nobody recorded: never a number."""
    what = "was permitted, but its fall was not recorded"
    if fall["ended"] == "DOWN":
        what = "was not permitted yet, and the carriage is down"
    if fall["ended"] == "FELL":
        what = "was not permitted yet, and the carriage came down while it was raised"
    answer = yield Ask(
        f"Pin in first, from the side. {trial} {what}. Did it fall?",
        key="fell",
        kind="choice",
        choices=("yes", "no", "unsure"),
    )
    said = {"yes": "it fell", "no": "it did not fall", "unsure": "nobody knows whether it fell"}
    reasons = (
        Reason(
            "not_recorded",
            f"not recorded ({tower.unrecorded(fall)}): it may have fallen unseen",
        ),
        Reason("person_says", f"the person at the bench says: {said[answer['value']]}"),
    )
    return Verdict.unrecorded(trial, specimen, reasons, energy_j=None)


def look(trial: str, eye: damage.Eye) -> Passage[dict[str, Any]]:
    """Damage as the eye and the caliper find it, with the reading's own uncertainty."""
    yield Do(
        "Raise the carriage clear of the blade and let the catch hold it. Pin in, then look.",
        hand="lift",
        hazards=("falling_mass", "edge"),
    )
    return (
        yield from damage.entered(
            trial,
            "Damage at this site",
            {
                "depth_m": ("Depth of the damage, like 0.3 mm", damage.DEPTH),
                "width_m": ("Width along the edge, like 1.2 mm", damage.ALONG),
            },
            eye,
        )
    )
