"""Rockwell C hardness: guided readings on a blade, the check block read before and after."""

from collections.abc import Callable, Mapping
from typing import Any

from procedures.lib import questions, verdicts
from rig.bench import Bench
from rig.errors import RigError
from rig.guide.parameters import Parameter, aside
from rig.guide.steps import Ask, Do, Measure, Note, Passage, Procedure, Tell
from rig.measure.hardness import COARSEST_HRC, READINGS, SPACING_M, require_on_scale
from rig.quantity import stated

TITLE = "Rockwell hardness"

PARAMETERS = (
    aside("specimen", "text", "", "code of the blade; asked for when left out"),
    Parameter("readings", "count", str(READINGS), "readings on the blade"),
    Parameter("block_readings", "count", str(READINGS), "readings on the block, before and after"),
    aside("operator", "text", "", "who reads; needed for a capability study"),
)


def check(params: Mapping[str, Any], bench: Bench) -> None:
    """Refuse before anything is opened what is no blade, or tells no scatter."""
    questions.check_blade(params)
    for name in ("readings", "block_readings"):
        if params[name] < 2:
            raise RigError("at least two readings are needed", where=name, remedy="ask for five")


def procedure(params: Mapping[str, Any], bench: Bench) -> Procedure:
    """The guided readings. Concludes with the blade's mean."""
    yield Do(
        "Tape the edge. Cone and anvil clean, blade flat and bright on both sides.",
        hazards=("edge", "hard_blade"),
    )
    specimen = yield from questions.blade(params)
    block = yield from _certificate()
    block["before_hrc"] = yield from _block("before", params["block_readings"])
    piece = yield from _piece(specimen, params["readings"])
    block["after_hrc"] = yield from _block("after", params["block_readings"])
    trial = f"{specimen} hardness"
    result = yield Measure(
        "Mean and uncertainty", measurand="hardness", trial=trial, raw_id=None,
        settings={"piece": piece, "block": block},
    )  # fmt: skip
    summary = _summary(trial, specimen, result)
    yield Tell(_told(trial, result))
    yield Note(f"Verdict of {trial}", kind="verdict", body=summary)
    return summary


def _certificate() -> Passage[dict[str, Any]]:
    certified = yield from _number(
        "What does the block's certificate say? HRC", "block_hrc", _off_scale
    )
    expanded = yield from _number(
        "And how sure is it (its expanded uncertainty)? HRC", "block_U", _no_step, default="0.5"
    )
    return {"certified_hrc": certified, "expanded_hrc": expanded}


def _block(when: str, count: int) -> Passage[list[float]]:
    yield Do(
        f"Check block {when} the blade: one reading to seat cone and anvil, not counted. Then "
        f"{count} spread over it, on its marked side, {SPACING_M * 1e3:g} mm from every old dent."
    )
    return (yield from _readings(f"Block, reading {{}} of {count}, HRC", f"block_{when}", count))


def _piece(specimen: str, count: int) -> Passage[dict[str, Any]]:
    thickness = yield from questions.length(
        "Thickness where you will read, like 3 mm", "thickness", questions.BLADE_THICKNESS
    )
    surface = yield Ask(
        "Is the surface there flat, or round like a rod? (Hollow ground: read on a flat instead)",
        key="surface", kind="choice", choices=("flat", "round"), default="flat",
    )  # fmt: skip
    diameter = None
    if surface["value"] == "round":
        diameter = yield from questions.length(
            "Its diameter, like 12 mm", "diameter", questions.ROUND
        )
    resolution = yield from _number(
        "To what step do you read the dial? HRC", "resolution", _no_step, default="0.5"
    )
    yield Do(
        f"Blade {specimen}: it must not rock. One reading to seat it, not counted. Then {count}, "
        f"{SPACING_M * 1e3:g} mm from each other and from the edge; leave none out.",
        hazards=("hard_blade", "edge"),
    )
    readings = yield from _readings(f"Blade, reading {{}} of {count}, HRC", "blade", count)
    spacing = yield from questions.length(
        "Least distance between two dents, or to the edge", "spacing", questions.DENTS_APART,
        default=f"{SPACING_M * 1e3:g} mm",
    )  # fmt: skip
    return {
        "readings_hrc": readings,
        "spacing_m": spacing,
        "thickness_m": thickness,
        "diameter_m": diameter,
        "resolution_hrc": resolution,
    }


def _readings(text: str, key: str, count: int) -> Passage[list[float]]:
    taken: list[float] = []
    while len(taken) < count:
        reading = yield from _number(text.format(len(taken) + 1), key, _off_scale)
        taken.append(reading)
    return taken


def _number(
    text: str, key: str, fault: Callable[[float], str], default: str = ""
) -> Passage[float]:
    return (yield from questions.number(text, key, fault, "HRC", default))


def _off_scale(reading: float) -> str:
    try:
        require_on_scale(reading)
    except RigError as error:
        return f"{error}."
    return ""


def _no_step(value: float) -> str:
    """Against a dial's step or a certificate's uncertainty that tells nothing."""
    if 0 < value <= COARSEST_HRC:
        return ""
    return f"{value:g} HRC cannot be: it is above 0 and at most {COARSEST_HRC:g} HRC."


def _told(trial: str, result: Mapping[str, Any]) -> str:
    found = result["measurands"].get("hardness")
    head = f"{trial}: none can be stated"
    if found is not None:
        apart = result["figures"]["range_hrc"]
        head = f"{trial}: {stated(found['value'], found['U'], 'HRC')}, range {apart:.1f} HRC"
    return verdicts.closed(head, verdicts.reasons(result))


def _summary(trial: str, specimen: str, result: Mapping[str, Any]) -> dict[str, Any]:
    found = result["measurands"].get("hardness")
    return {
        "trial": trial,
        "specimen": specimen,
        "valid": not result["reasons"],
        "reasons": verdicts.reasons(result),
        "indication": [],
        "hardness_hrc": None if found is None else found["value"],
        "hardness_U_hrc": None if found is None else found["U"],
        "result_id": result["result_id"],
    }
