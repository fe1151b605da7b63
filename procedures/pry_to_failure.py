"""Pry torque to tip failure: the tip in a block, the arm pulled sideways until it gives way.

The tip is seated to a stated depth, the arm turned at a guided rate, and torque and angle are
recorded to the snap, the bend, or a limit. A tip that survives is a bound ("at least"), never a
failure torque. A tip that survived a softer block may go on to a harder one.
"""

import math
from collections.abc import Mapping
from typing import Any

from procedures.lib import checks, jig, questions, verdicts
from rig.bench import Bench
from rig.errors import RigError
from rig.guide.jigs import torque_limit_nm
from rig.guide.parameters import Parameter, aside
from rig.guide.steps import Ask, Do, Measure, Note, Passage, Procedure, Record, Tell

TITLE = "Pry torque to tip failure"

PARAMETERS = (
    aside("specimen", "text", "", "code of the blade; asked for when left out"),
    Parameter("schedule", "text", "hardwood", "blocks in order, softest first: softwood,hardwood"),
    Parameter("side", "text", "right", "the side the arm is pulled to: right or left"),
)

FALL_SHARE = 0.5
ABOVE_PRELOAD = 4.0  # a fall counts from this many pre-loads on: below it, wood only settles


def check(params: Mapping[str, Any], bench: Bench) -> None:
    """Refuse before anything is opened what names no blade, no block or no side."""
    questions.check_blade(params)
    _blocks(params["schedule"])
    if params["side"] not in ("right", "left"):
        raise RigError(f"'{params['side']}' is no side", where="side", remedy="write right or left")


def procedure(params: Mapping[str, Any], bench: Bench) -> Procedure:
    """The guided test. Concludes with one trial for each block."""
    blocks = _blocks(params["schedule"])
    yield Do(
        "Read before you start: a tip that snaps flies, and a bent blade springs back.",
        hazards=("shards", "stored", "edge", "pinch"),
    )
    used = yield from jig.scales(bench)
    yield from checks.check_load(bench, used.load)
    specimen = yield from questions.blade(params)
    section = yield from _section(specimen)
    zero = yield from jig.zero(
        f"{specimen} zero", bench, "Nothing seated, nobody touches the arm. Hands off."
    )
    sign = 1 if params["side"] == "right" else -1
    to_rad = sign * math.radians(bench.pry.pry.angle_limit_deg)
    swept = yield from jig.sweep(f"{specimen} sweep", to_rad, zero, used, bench)
    trials: list[dict[str, Any]] = []
    for block in blocks:
        trial = yield from _trial(specimen, block, params["side"], section, swept, used, bench)
        trials.append(trial)
        if trial["kind"] != "survived":
            break
    yield Do(
        "Arm let back, then shield open. Pieces out with pliers or magnet, glasses on: count them. "
        "Blade out by its spine, gloves on.",
        hazards=("shards", "stored", "edge", "pinch"),
    )
    return {"specimen": specimen, "trials": trials}


def _blocks(schedule: str) -> list[str]:
    blocks = [block.strip() for block in schedule.split(",") if block.strip()]
    if not blocks or len(set(blocks)) != len(blocks):
        raise RigError(
            f"'{schedule}' names no blocks, or one twice",
            where="schedule",
            remedy="write it like softwood,hardwood",
            value=schedule,
        )
    return blocks


def _section(specimen: str) -> Passage[dict[str, float]]:
    """Thickness and width where the tip will bend, before the test."""
    wanted = (
        ("thickness", f"Thickness of blade {specimen} where it will bend, like 2.0 mm",
         questions.BLADE_THICKNESS, ""),
        ("width", "Width of the blade there, like 10 mm", questions.BLADE_WIDTH, ""),
        ("section_at", "How far is that place from the block's face? like 2 mm",
         questions.ALONG_BLADE, ""),
        ("u_section", "How sure is that? micrometer 0.01 mm, caliper 0.03 mm",
         questions.SECTION_U, "0.03 mm"),
    )  # fmt: skip
    found: dict[str, float] = {}
    for key, text, band, default in wanted:
        found[f"{key}_m"] = yield from questions.length(text, key, band, default)
    yield Note(f"Section of {specimen}", kind="section", body={"specimen": specimen, **found})
    return found


def _trial(
    specimen: str, block: str, side: str, section: Mapping[str, float],
    swept: Mapping[str, Any], used: jig.Scales, bench: Bench,
) -> Passage[dict[str, Any]]:  # fmt: skip
    """One blade in one block, from seating to the look at the tip."""
    limits = bench.pry.pry
    trial = f"{specimen} in {block}"
    yield jig.clamp(
        f"Clamp blade {specimen} in the arm and seat its tip {limits.depth_m * 1e3:g} mm deep in "
        f"the {block} block. Shield closed.",
        "seat",
        {"specimen": specimen, "block": block, "depth_m": limits.depth_m},
    )
    zero = yield from jig.zero(f"{trial} zero", bench, "Nobody touches the arm. Hands off.")
    pried = yield Record(
        f"{trial}: pull the arm to the {side}, slowly up to {limits.preload_nm:g} N·m, then so "
        f"that it takes {limits.ramp_low_s:g} to {limits.ramp_high_s:g} s to give way. Keep the "
        "mark between the brackets.",
        trial=trial,
        torque=used.load.to_dict(),
        angle=used.angle.to_dict(),
        zero_code=zero["mean"],
        rate_low_rad_s=math.radians(limits.rate_low_deg_s),
        rate_high_rad_s=math.radians(limits.rate_high_deg_s),
        stop={
            "angle_rad": math.radians(limits.angle_limit_deg),
            "torque_nm": torque_limit_nm(bench.pry, bench.cell, used.load),
            "fall_share": FALL_SHARE,
            "from_nm": ABOVE_PRELOAD * limits.preload_nm,
        },
        rest_nm=limits.preload_nm / 2,
        hand="pry",
        detail={"side": side},
        hazards=("shards", "stored"),
        guarded=True,
        after="Let the arm back slowly until it pulls no more. Hands off.",
        after_hand="unload",
    )  # fmt: skip
    after = yield from jig.zero(f"{trial} zero after", bench, "Nobody touches the arm. Hands off.")
    result = yield Measure(
        "Torque, angle and energy of this trial",
        measurand="pry",
        trial=trial,
        raw_id=pried["raw_id"],
        settings={
            **jig.settings(used, bench),
            "zero": dict(zero),
            "zero_after": dict(after),
            "sweep": dict(swept),
            "section": dict(section),
            "side": side,
            "ended": pried["ended"],
            "time_base": pried["time_base"],
        },
    )
    seen = yield from _look(trial)
    yield Tell(_told(trial, result))  # after the look, so that no number colours it
    return (yield from _verdict(trial, specimen, block, result, seen, used))


def _told(trial: str, result: Mapping[str, Any]) -> str:
    of = result["measurands"]
    kind = result["kind"]
    if kind == "survived":
        head = f"{trial}: survived, at least {jig.quantity(of, 'peak_torque')}"
    else:
        head = f"{trial}: {kind}, peak {jig.quantity(of, 'peak_torque')}"
        if "failure_angle" in of:
            head += f" at {jig.quantity(of, 'failure_angle', jig.DEG, '°')}"
    return verdicts.closed(head, verdicts.reasons(result))


def _look(trial: str) -> Passage[dict[str, Any]]:
    """What the eye sees, and the path of a photograph."""
    yield Do(
        "Arm let back, then shield open, glasses on. Fingers off the tip: it may be bent like "
        "a bow.",
        hazards=("shards", "stored", "edge"),
    )
    seen = yield Ask(
        "Look at the tip: what happened?", key="tip", kind="choice",
        choices=("snapped", "bent", "whole"),
    )  # fmt: skip
    photo = yield Ask(
        "Photograph of the tip with its label beside it: path of the file, or none",
        key="photo", kind="file", default="none",
    )  # fmt: skip
    found = {
        "trial": trial,
        "tip": seen["value"],
        "photo": photo["value"],
        "photo_sha256": photo["sha256"],
    }
    yield Note(f"Look of {trial}", kind="look", body=found)
    return found


def _verdict(
    trial: str, specimen: str, block: str, result: Mapping[str, Any],
    seen: Mapping[str, Any], used: jig.Scales,
) -> Passage[dict[str, Any]]:  # fmt: skip
    peak = result["measurands"].get("peak_torque")
    summary = {
        "trial": trial,
        "specimen": specimen,
        "block": block,
        "kind": result["kind"],
        "censored": result["censored"],
        "valid": not result["reasons"],
        "reasons": verdicts.reasons(result),
        "indication": list(used.indication),
        "peak_torque_nm": None if peak is None else peak["value"],
        "peak_torque_U_nm": None if peak is None else peak["U"],
        "tip": seen["tip"],
        "result_id": result["result_id"],
    }
    yield Note(f"Verdict of {trial}", kind="verdict", body=summary)
    return summary
