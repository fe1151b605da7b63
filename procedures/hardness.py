"""Rockwell C hardness: guided readings on a blade, the check block read once a session."""

from collections.abc import Mapping, Sequence
from statistics import fmean
from typing import Any

from procedures.lib import questions, verdicts
from rig.bench import Bench
from rig.errors import RigError
from rig.guide.parameters import Parameter, aside
from rig.guide.steps import Ask, Do, Measure, Note, Passage, Procedure, Recall, Tell
from rig.guide.verdict import Verdict
from rig.measure.hardness import COARSEST_HRC, READINGS, SPACING_M, require_on_scale
from rig.quantity import stated

TITLE = "Rockwell hardness"

PARAMETERS = (
    aside("specimen", "text", "", "code of the blade; asked for when left out"),
    Parameter("readings", "count", str(READINGS), "readings on the blade"),
    Parameter("block_readings", "count", str(READINGS), "readings on the block, before and after"),
    Parameter("tester", "text", "the tester", "which tester, if there are several"),
    Parameter("check_block", "text", "", "number of the check block; asked for when left out"),
    aside("block_anew", "flag", "no", "read the block anew, though this session's check holds"),
    aside("operator", "text", "", "who reads; needed for a capability study"),
)

CHECK = "check_block"
SESSION_H = 12.0  # ours, as for the tower's empty drops and the load cell's check
FAR_HRC = 3.0  # from its fellows: read once more; ours


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
    held = yield from _held(params)
    block = held or (yield from _begin_check(params))
    piece = yield from _piece(specimen, params["readings"])
    if held is None:
        block["after_hrc"] = yield from _block("after", params["block_readings"], block)
    trial = f"{specimen} hardness"
    result = yield Measure(
        "Mean and uncertainty", measurand="hardness", trial=trial, raw_id=None,
        settings={"piece": piece, "block": {key: block[key] for key in OF_BLOCK}},
    )  # fmt: skip
    if held is None:
        in_order = not any(one["name"].startswith("block_") for one in result["reasons"])
        yield Tell(_drift(block))
        yield Note("Check of the tester", kind=CHECK, body={**block, "in_order": in_order})
    verdict = Verdict.judged(trial, specimen, result, details=_figures(result))
    yield Tell(_told(trial, result, verdict))
    yield verdict.note()
    return verdict.summary()


OF_BLOCK = ("certified_hrc", "expanded_hrc", "before_hrc", "after_hrc")
"""What the measurement takes of a check."""


def _held(params: Mapping[str, Any]) -> Passage[dict[str, Any] | None]:
    """This session's check of the same tester (on the same block, if one is named)."""
    recalled = yield Recall("Was the tester checked in this session?", kind=CHECK, hours=SESSION_H)
    if params["block_anew"]:
        return None
    for row in recalled["found"]:
        if row["tester"] == params["tester"] and params["check_block"] in ("", row["block"]):
            if not row["in_order"]:
                break  # the newest says that something was wrong
            yield Tell(
                f"Check block ({row['block']}) was read on {row['tester']} in the last "
                f"{SESSION_H:g} hours; that holds (block_anew=yes reads it anew)."
            )
            return dict(row)
    return None


def _begin_check(params: Mapping[str, Any]) -> Passage[dict[str, Any]]:
    """The block's certificate and its readings before the blade."""
    name = params["check_block"]
    if not name:
        said = yield Ask("Number of the check block", key="block_name", default="block 1")
        name = said["value"]
    certified = yield from _number(
        "What does the block's certificate say? HRC", "block_hrc", _off_scale
    )
    expanded = yield from _number(
        "And how sure is it (its expanded uncertainty)? HRC", "block_U", _no_step, default="0.5"
    )
    block = {"tester": params["tester"], "block": name, "certified_hrc": certified,
             "expanded_hrc": expanded}  # fmt: skip
    block["before_hrc"] = yield from _block("before", params["block_readings"], block)
    return block


def _block(when: str, count: int, block: Mapping[str, Any]) -> Passage[list[float]]:
    yield Do(
        f"Check block {when} the blade: one reading to seat cone and anvil, not counted. Then "
        f"{count} spread over it, on its marked side, {SPACING_M * 1e3:g} mm from every old dent."
    )
    text, known = f"Block, reading {{}} of {count}, HRC", [float(block["certified_hrc"])]
    return (yield from _readings(text, f"block_{when}", count, known))


def _piece(specimen: str, count: int) -> Passage[dict[str, Any]]:
    thickness = yield from questions.length(
        "Thickness where you will read, like 3 mm",
        "thickness",
        questions.BLADE_THICKNESS,
        usual=questions.BLADE_USUAL,
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
        detail={"specimen": specimen},
        hazards=("hard_blade", "edge"),
    )
    readings = yield from _readings(f"Blade, reading {{}} of {count}, HRC", "blade", count)
    spacing = yield from questions.length(
        "Least distance between two dents, or to the edge", "spacing", questions.DENTS_APART,
        default=f"{SPACING_M * 1e3:g} mm", usual=questions.DENTS_USUAL,
    )  # fmt: skip
    return {
        "readings_hrc": readings,
        "spacing_m": spacing,
        "thickness_m": thickness,
        "diameter_m": diameter,
        "resolution_hrc": resolution,
    }


def _readings(text: str, key: str, count: int, known: Sequence[float] = ()) -> Passage[list[float]]:
    def one(number: int, far: questions.Far) -> Passage[float]:
        return _number(text.format(number), key, _off_scale, far=far)

    def far_from(taken: Sequence[float]) -> questions.Far:
        return questions.far_by([*known, *taken], FAR_HRC)

    return (yield from questions.series(count, one, far_from, key, "HRC"))


def _number(
    text: str, key: str, fault: questions.Far, default: str = "",
    far: questions.Far = lambda _: "",
) -> Passage[float]:  # fmt: skip
    return (yield from questions.number(text, key, fault, "HRC", default, far))


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


def _told(trial: str, result: Mapping[str, Any], verdict: Verdict) -> str:
    found = result["measurands"].get("hardness")
    head = f"{trial}: none can be stated"
    if found is not None:
        apart = result["figures"]["range_hrc"]
        head = f"{trial}: {stated(found['value'], found['U'], 'HRC')}, range {apart:.1f} HRC"
    return verdicts.closed(head, verdict.words)


def _drift(block: Mapping[str, Any]) -> str:
    """How the check block read before and after the blade."""
    before, after = (fmean(block[key]) for key in ("before_hrc", "after_hrc"))
    return (
        f"Check block ({block['block']}): {before:.2f} HRC before, {after:.2f} HRC after (it moved "
        f"by {after - before:+.2f}); its certificate says {block['certified_hrc']:g} HRC."
    )


def _figures(result: Mapping[str, Any]) -> dict[str, Any]:
    found = result["measurands"].get("hardness") or {}
    return {"hardness_hrc": found.get("value"), "hardness_U_hrc": found.get("U")}
