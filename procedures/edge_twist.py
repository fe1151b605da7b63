"""Edge-stability twist: the edge in a slot of hardwood, turned to and fro, cycle after cycle.

No published standard exists for this test; every result says so. Peak torque and work of each
cycle and their decay are measured; what became of the edge is entered blind.
"""

import math
from collections.abc import Mapping
from typing import Any

from procedures.lib import checks, damage, jig, questions, verdicts
from rig.bench import Bench
from rig.errors import RigError
from rig.guide import traceability
from rig.guide.parameters import Parameter, aside
from rig.guide.steps import Do, Measure, Passage, Procedure, Record, Tell
from rig.guide.verdict import Verdict
from rig.measure.budget import Reason

TITLE = "Edge-stability twist"

PARAMETERS = (
    aside("specimen", "text", "", "code of the blade; asked for when left out"),
    Parameter("cycles", "count", "0", "cycles to and fro; 0 takes the jig's own number"),
    aside("place", "text", "1", "place along the edge, fresh for each trial"),
)

MOST_CYCLES = 200  # ours, as bench.toml's
NO_STANDARD = (
    "No published standard exists for this test: compare blades on this jig and this board only."
)


def check(params: Mapping[str, Any], bench: Bench) -> None:
    """Refuse before anything is opened what is no blade, or more cycles than a bench may state."""
    questions.check_blade(params)
    if params["cycles"] > MOST_CYCLES:
        raise RigError(
            f"{params['cycles']} cycles", where="cycles", remedy=f"ask for {MOST_CYCLES} or fewer"
        )


def procedure(params: Mapping[str, Any], bench: Bench) -> Procedure:
    """The guided test. Concludes with the trial's verdict."""
    yield Do(
        "Nothing clamped in the arm, its pin out, eye protection at hand.",
        hazards=("trap",),
    )
    yield Tell(NO_STANDARD)
    used = yield from jig.scales(bench)
    yield from checks.check_load(bench, used.load, used.certified)
    specimen = yield from questions.blade(params)
    trial = f"{specimen} twist {params['place']}"
    amplitude_rad = math.radians(bench.twist.twist.amplitude_deg)
    first = yield from jig.zero(f"{trial} zero", bench, "Zero: nothing clamped, hands off the arm.")
    swept = yield from jig.sweep(f"{trial} sweep", amplitude_rad, first, used, bench, both=True)
    result = yield from _trial(trial, specimen, params, swept, used, bench)
    if isinstance(result, Reason):  # the edge may be used up, and there is no torque
        verdict = Verdict.unrecorded(trial, specimen, [result], **jig.peak({}))
    else:
        found = yield from _look(trial, bench)
        verdict = Verdict.judged(
            trial, specimen, result, lacks=traceability.lacks(bench, "twist"), damage=found,
            details=jig.peak(result["measurands"]),
        )  # fmt: skip
        yield Tell(_told(trial, result, verdict))  # after the look, so that no number colours it
    yield verdict.note()
    return verdict.summary()


def _trial(
    trial: str, specimen: str, params: Mapping[str, Any], swept: Mapping[str, Any],
    used: jig.Scales, bench: Bench,
) -> Passage[Mapping[str, Any] | Reason]:  # fmt: skip
    """The edge set, twisted, and what it took; the reason when nothing of it was recorded."""
    slot, limits = bench.twist.slot, bench.twist.twist
    cycles = params["cycles"] or limits.cycles
    yield jig.clamp(
        f"Gloves on: clamp blade {specimen} in the arm, its edge {slot.depth_m * 1e3:g} mm deep in "
        f"a fresh slot of the hardwood block along {slot.length_m * 1e3:g} mm. Gloves off, shield "
        "closed, hands off the arm.",
        "set_edge",
        {"specimen": specimen, "length_m": slot.length_m},
    )
    zero = yield from jig.zero(f"{trial} zero before", bench, "Zero: hands off the arm.")
    amplitude = limits.amplitude_deg
    twisted = yield from jig.motion(
        Record(
            f"{trial}: at TURN NOW, and not before, turn the arm to {amplitude:g}° right, then "
            f"{amplitude:g}° left, {cycles} times, until the screen says so (or type done). "
            "Keep the mark between the brackets.",
            now=f"TURN NOW: {amplitude:g}° right first.",
            trial=trial,
            torque=used.load.to_dict(),
            angle=used.angle.to_dict(),
            zero_code=zero["mean"],
            rate_low_rad_s=math.radians(limits.rate_low_deg_s),
            rate_high_rad_s=math.radians(limits.rate_high_deg_s),
            stop={"cycles": cycles, "amplitude_rad": math.radians(amplitude)},
            rest_nm=bench.pry.pry.preload_nm,
            hand="twist",
            detail={
                "amplitude_deg": amplitude,
                "cycles": cycles,
                "rate_deg_s": (limits.rate_low_deg_s + limits.rate_high_deg_s) / 2,
            },
            hazards=("shards", "stored"),
            guarded=True,
            after="Let the arm back to its zero mark. Hands off.",
            after_hand="unload",
        )
    )
    if isinstance(twisted, Reason):
        return twisted
    after = yield from jig.zero(f"{trial} zero after", bench, "Zero again: hands off the arm.")
    result = yield Measure(
        "Torque and work of each cycle",
        measurand="twist",
        trial=trial,
        raw_id=twisted["raw_id"],
        settings={
            **jig.settings(used, bench),
            "twist": bench.twist.model_dump(mode="json"),
            "cycles": cycles,
            "zero": dict(zero),
            "zero_after": dict(after),
            "sweep": dict(swept),
            "ended": twisted["ended"],
            "time_base": twisted["time_base"],
        },
    )
    return dict(result)


def _told(trial: str, result: Mapping[str, Any], verdict: Verdict) -> str:
    of = result["measurands"]
    head = f"{trial}: largest torque {jig.quantity(of, 'peak_torque')}"
    if "torque_ratio" in of:
        head += f", last cycle over first {jig.quantity(of, 'torque_ratio')}"
    return verdicts.closed(head, verdict.words)


def _look(trial: str, bench: Bench) -> Passage[dict[str, Any]]:
    """Damage along the edge, entered blind."""
    yield Do(
        "Arm let back, then shield open, eye protection on. Gloves on, blade out by its spine. "
        "Chips with pliers or magnet: count them.",
        hazards=("shards", "stored", "edge", "trap"),
    )
    along = f"Length of edge affected, of {bench.twist.slot.length_m * 1e3:g} mm"
    return (
        yield from damage.entered(
            trial,
            "Damage along the twisted length",
            {
                "length_m": (along, damage.TWISTED),
                "depth_m": ("Depth of the deepest place", damage.DEPTH),
            },
            damage.Eye(),
        )
    )
