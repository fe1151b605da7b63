"""Pry torque to tip failure: the tip in a block, the arm pulled sideways until it gives way.

The tip is seated to a stated depth, the arm turned at a guided rate, and torque and angle are
recorded to the snap, the bend, or a limit. A tip that survives is a bound ("at least"), never a
failure torque. A tip that survived a softer block may go on to a harder one.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from procedures.lib import checks, jig, questions, verdicts
from rig.bench import Bench
from rig.errors import RigError
from rig.guide import traceability
from rig.guide.jigs import torque_limit_nm
from rig.guide.parameters import Parameter, aside
from rig.guide.steps import Ask, Do, Measure, Note, Passage, Procedure, Record, Tell
from rig.guide.verdict import Verdict
from rig.measure.budget import Reason

TITLE = "Pry torque to tip failure"

PARAMETERS = (
    aside("specimen", "text", "", "code of the blade; asked for when left out"),
    Parameter("schedule", "text", "hardwood", "blocks in order, softest first: softwood,hardwood"),
    Parameter("side", "text", "right", "the side the arm is pulled to: right or left"),
    aside("at_angle", "angle", "0 deg", "its torque is told too, from the pre-load; 0 deg: none"),
    questions.PHOTO,
)

RULE = 2  # see rig.measure.arm.facts.PryFacts
FALL_SHARE = 0.5
ABOVE_PRELOAD = 4.0  # a fall counts from this many pre-loads on: below it, wood only settles


def check(params: Mapping[str, Any], bench: Bench) -> None:
    """Refuse before anything is opened what names no blade, no block or no side."""
    questions.check_blade(params)
    _blocks(params["schedule"])
    if params["side"] not in ("right", "left"):
        raise RigError(f"'{params['side']}' is no side", where="side", remedy="write right or left")
    limit_deg = bench.pry.pry.angle_limit_deg
    if not 0 <= params["at_angle"] <= math.radians(limit_deg):
        raise RigError(
            f"{math.degrees(params['at_angle']):g}° is not on the way",
            where="at_angle",
            remedy=f"it is from 0 deg to {limit_deg:g} deg, counted from the pre-load",
        )


def procedure(params: Mapping[str, Any], bench: Bench) -> Procedure:
    """The guided test. Concludes with one trial for each block."""
    blocks = _blocks(params["schedule"])
    used = yield from jig.scales(bench)
    yield from checks.check_load(bench, used.load, used.certified)
    specimen = yield from questions.blade(params)
    section = yield from _section(specimen, bench.pry.pry.depth_m)
    # The blade's own weight is the arm's while both are swept: up to some per cent of a torque.
    yield jig.clamp(
        f"The block slid back. Gloves on: clamp blade {specimen} flat in the arm, its tip free of "
        "the block. Gloves off, shield closed, hands off the arm.",
        "clamp_blade",
        {"specimen": specimen},
    )
    zero = yield from jig.zero(f"{specimen} zero", bench, "Zero: the tip free, hands off the arm.")
    sign = 1 if params["side"] == "right" else -1
    to_rad = sign * math.radians(bench.pry.pry.angle_limit_deg)
    swept = yield from jig.sweep(f"{specimen} sweep", to_rad, zero, used, bench, "the tip free")
    trials: list[Verdict] = []
    for block in blocks:
        trial = yield from _trial(specimen, block, params, section, swept, used, bench)
        trials.append(trial)
        if trial.details["kind"] != "survived":
            break
    yield Do(
        "Eye protection on. Pieces out with pliers or magnet: count them. Gloves on, blade out by "
        "its spine.",
        hazards=("shards", "edge", "trap"),
    )
    return {"specimen": specimen, "trials": [trial.summary() for trial in trials]}


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


def _section(specimen: str, depth_m: float) -> Passage[dict[str, float]]:
    """Thickness and width where the tip will bend, before the test."""
    wanted = (
        ("thickness", f"Thickness of blade {specimen} {depth_m * 1e3:g} mm from its point, where "
         "it will leave the wood, like 2.0 mm", questions.BLADE_THICKNESS, questions.TIP_THICK, ""),
        ("width", "Width of the blade there, like 10 mm", questions.BLADE_WIDTH,
         questions.TIP_WIDE, ""),
        ("section_at", "How far out of the wood did you measure it? 0 mm: just where it leaves it",
         questions.ALONG_BLADE, questions.TIP_OUT, "0 mm"),
        ("u_section", "How sure is that? micrometer 0.01 mm, caliper 0.03 mm",
         questions.SECTION_U, questions.SECTION_U, "0.03 mm"),
    )  # fmt: skip
    found: dict[str, float] = {}
    for key, text, band, usual, default in wanted:
        found[f"{key}_m"] = yield from questions.length(text, key, band, default, usual)
    yield Note(f"Section of {specimen}", kind="section", body={"specimen": specimen, **found})
    return found


def _trial(
    specimen: str, block: str, params: Mapping[str, Any], section: Mapping[str, float],
    swept: Mapping[str, Any], used: jig.Scales, bench: Bench,
) -> Passage[Verdict]:  # fmt: skip
    """One blade in one block, from seating to the look at the tip."""
    limits, side = bench.pry.pry, params["side"]
    trial = f"{specimen} in {block}"
    yield jig.clamp(
        f"Gloves on: the {block} block in, slid onto the tip of blade {specimen} "
        f"{limits.depth_m * 1e3:g} mm deep, its screws tight. Gloves off, shield closed, hands off "
        "the arm.",
        "seat",
        {"specimen": specimen, "block": block, "depth_m": limits.depth_m},
    )
    zero = yield from jig.zero(f"{trial} zero", bench, "Zero: hands off the arm.")
    pried = yield from jig.motion(Record(
        f"{trial}: at PULL NOW, and not before, pull the arm to the {side}: take up the slack "
        f"slowly, then evenly, so that it takes {limits.ramp_low_s:g} to {limits.ramp_high_s:g} s "
        "to give way. Keep the mark between the brackets. Stop when the "
        "screen says so, or type done.",
        now=f"PULL NOW: to the {side}.",
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
    ))  # fmt: skip
    if isinstance(pried, Reason):
        return (yield from _unrecorded(trial, specimen, block, pried))
    after = yield from jig.zero(f"{trial} zero after", bench, "Zero again: hands off the arm.")
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
            "at_rad": params["at_angle"] or None,
            "rule": RULE,
        },
    )
    seen = yield from _look(trial, result["kind"], params["photo"])
    verdict = _verdict(trial, specimen, block, result, seen, bench)
    yield verdict.note()
    yield Tell(_told(trial, result, verdict.words))  # after the look: no number colours it
    return verdict


def _told(trial: str, result: Mapping[str, Any], reasons: Sequence[str]) -> str:
    of = result["measurands"]
    kind = result["kind"]
    if kind == "survived":
        head = f"{trial}: survived, at least {jig.quantity(of, 'peak_torque')}"
    else:
        head = f"{trial}: {kind}, peak {jig.quantity(of, 'peak_torque')}"
        if softened(of):
            head += f", at the break {jig.quantity(of, 'break_torque')}"
        if "failure_angle" in of:
            head += f" at {jig.quantity(of, 'failure_angle', jig.DEG, '°')}"
    return verdicts.closed(head, reasons)


def softened(of: Mapping[str, Any]) -> bool:
    """Whether its largest torque lies clearly above that at the break."""
    peak, broke = of.get("peak_torque"), of.get("break_torque")
    return bool(peak and broke and peak["value"] - broke["value"] > peak["U"] + broke["U"])


CONTRARY = {"snap": ("bent", "whole"), "bend": ("snapped",), "survived": ("snapped",)}
"""What no eye finds on a tip of which the rig recorded this."""


def _seen(kind: str) -> Passage[str]:
    """What the eye finds; asked once more on the spot where it is contrary to the record."""
    choices = ("snapped", "bent", "whole")
    seen = yield Ask("Look at the tip: what happened?", key="tip", kind="choice", choices=choices)
    if seen["value"] in CONTRARY.get(kind, ()):
        seen = yield Ask(
            f"The record shows a {kind}, you say {seen['value']}. Look again, at tip and block: "
            "what is it?", key="tip_again", kind="choice", choices=choices,
        )  # fmt: skip
    return str(seen["value"])


def _unrecorded(trial: str, specimen: str, block: str, lost: Reason) -> Passage[Verdict]:
    """The tip may be used up, and there is no torque."""
    verdict = Verdict.unrecorded(
        trial, specimen, [lost], block=block, kind="unrecorded", **jig.peak({})
    )
    yield verdict.note()
    return verdict


def _look(trial: str, kind: str, photo: bool) -> Passage[dict[str, Any]]:
    """What the eye sees, and the path of a photograph."""
    yield Do(
        "Arm let back, then shield open, eye protection on. Fingers off the tip: it may be bent "
        "like a bow.",
        hazards=("shards", "stored", "edge"),
    )
    tip = yield from _seen(kind)
    picture = (yield from questions.photograph("the tip")) if photo else questions.NO_PHOTO
    found = {"trial": trial, "tip": tip, **picture}
    yield Note(f"Look of {trial}", kind="look", body=found)
    return found


def _verdict(
    trial: str, specimen: str, block: str, result: Mapping[str, Any],
    seen: Mapping[str, Any], bench: Bench,
) -> Verdict:  # fmt: skip
    kind, tip = result["kind"], seen["tip"]
    verdict = Verdict.judged(
        trial, specimen, result, lacks=traceability.lacks(bench, "pry"),
        censored=result["censored"],
        details={"block": block, "kind": kind, "tip": tip, **jig.peak(result["measurands"])},
    )  # fmt: skip
    if tip in CONTRARY.get(kind, ()):
        text = f"the record shows a {kind}, the eye a tip that is {tip}"
        verdict = verdict.but(Reason("eye_contrary", text))
    return verdict
