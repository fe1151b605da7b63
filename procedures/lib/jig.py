"""The pry and twist jigs' passages: scales, zero, no-load sweep, and the words for a result."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from procedures.lib import checks
from rig.bench import Bench
from rig.calibration.inforce import in_force
from rig.errors import RigError
from rig.guide.steps import Ask, Do, Measure, Outcome, Passage, Read, Record, Tell
from rig.measure.budget import Reason
from rig.measure.reading import told
from rig.measure.scales import Scale
from rig.quantity import stated

DEG = math.degrees(1.0)


@dataclass(frozen=True)
class Scales:
    """Torque and angle as this run reads them.

    `indication` says why results are an indication only: what the certificates lack. `certified`:
    the load channel's is in force.
    """

    load: Scale
    angle: Scale
    indication: tuple[str, ...]
    certified: bool


def scales(bench: Bench) -> Passage[Scales]:
    """The scales in force, told to the person when they are no more than an indication."""
    if bench.cell.mounted != "arm":
        raise RigError(
            f"{bench.cell.serial} is mounted on the {bench.cell.mounted}, not on the arm",
            where="cell.mounted",
            remedy='mount it on the arm and write mounted = "arm" in bench.toml',
        )
    load, angle = in_force(bench, "load"), in_force(bench, "angle")
    lacking = [*load.against, *angle.against]
    if lacking:
        yield Tell(
            "PRACTICE ONLY: results of this run are an indication and enter no comparison, for "
            f"{'; '.join(lacking)}."
        )
    return Scales(load.scale, angle.scale, tuple(lacking), not load.against)


def zero(trial: str, bench: Bench, text: str) -> Passage[Outcome]:
    """The load channel with nothing pulling, read without a question: hands are off by then.

    A bad reading is taken again until the person stops.

    Raises:
        RigError: the person stopped.
    """
    limits = bench.pry.calibration
    reading = yield from checks.good_reading(
        Read(text, channel="load", trial=trial, settle_s=limits.settle_s, read_s=limits.read_s,
             hand="free", by_itself=True)
    )  # fmt: skip
    if reading is None:
        raise _stopped("no good zero reading")
    return reading


def _stopped(what: str) -> RigError:
    return RigError(
        what,
        where="load cell",
        remedy="put it right, then give the command again with --abandon 'why'",
    )


def sweep(
    trial: str, to_rad: float, zero_reading: Outcome, used: Scales, bench: Bench,
    what: str = "nothing seated", both: bool = False,
) -> Passage[Mapping[str, Any]]:  # fmt: skip
    """The arm's own torque over the angle, with nothing seated, or with a blade whose tip is free.

    `to_rad` is above zero to the right, below it to the left; `both` takes the other side as well.
    """
    limits, to_deg = bench.pry.pry, math.degrees(to_rad)
    side = "right" if to_rad > 0 else "left"
    way = f"{abs(to_deg):.0f}° to the {side}" + ", then as far to the left" * both
    while True:
        swept = yield Record(
            f"No-load sweep: pin out, {what}. At PULL NOW take the arm slowly from its zero "
            f"mark {way}, until the screen says so (or type done), and let it back.",
            trial=trial,
            torque=used.load.to_dict(),
            angle=used.angle.to_dict(),
            zero_code=zero_reading["mean"],
            rate_low_rad_s=math.radians(limits.rate_low_deg_s),
            rate_high_rad_s=math.radians(limits.rate_high_deg_s),
            stop={"cycles": 1, "amplitude_rad": abs(to_rad)}
            if both
            else {"angle_rad": abs(to_rad)},
            rest_nm=limits.preload_nm,
            hand="sweep",
            detail={"to_deg": to_deg, "both": int(both)},
            hazards=("trap",),
            now=f"PULL NOW: slowly {way}.",
            after="Let the arm back to its zero mark. Hands off.",
            after_hand="unload",
        )
        result = yield Measure(
            "The arm's own torque",
            measurand="no_load_sweep",
            trial=trial,
            raw_id=swept["raw_id"],
            settings={**settings(used, bench), "zero": dict(zero_reading)},
        )
        if not result["reasons"]:
            return result
        yield Tell(f"This sweep does not count: {told(result['reasons'])}.")
        if (yield from checks.stopped("Put it right, then sweep")):
            raise _stopped("no good no-load sweep")


def motion(step: Record) -> Passage[Outcome | Reason]:
    """A recorded motion that uses the blade up; the reason when nobody recorded it.

    That is asked of the person when the program had ended after it was called for. Who says that
    nothing was moved makes it now.
    """
    while True:
        made = yield step
        if made["raw_id"] is not None:
            return made
        answer = yield Ask(
            f"{step.trial}: the arm was to be moved when the program ended, and nothing was "
            "recorded. Was it moved?", key="moved", kind="choice", choices=("yes", "no", "unsure"),
        )  # fmt: skip
        if answer["value"] != "no":
            told = "it was moved" if answer["value"] == "yes" else "nobody knows whether it was"
            text = f"not recorded: the program had ended; the person at the bench: {told}"
            return Reason("not_recorded", text)


def settings(used: Scales, bench: Bench) -> dict[str, Any]:
    """What every measurement on the arm needs beside its raw frames."""
    return {
        "jig": bench.pry.model_dump(mode="json"),
        "cell": bench.cell.model_dump(mode="json"),
        "scales": {"load": used.load.to_dict(), "angle": used.angle.to_dict()},
        "bridge_spikes": True,
    }


def peak(measurands: Mapping[str, Any]) -> dict[str, Any]:
    """What a verdict tells of the largest torque."""
    found = measurands.get("peak_torque") or {}
    return {"peak_torque_nm": found.get("value"), "peak_torque_U_nm": found.get("U")}


def clamp(text: str, hand: str, detail: Mapping[str, float | str]) -> Do:
    """Hands at the blade: with its hazards."""
    return Do(text, hand=hand, detail=detail, hazards=("edge", "trap"))


def quantity(measurands: Mapping[str, Any], name: str, factor: float = 1.0, unit: str = "") -> str:
    """One measurand with its U in words, or why there is none."""
    if name not in measurands:
        return "none can be stated"
    m = measurands[name]
    return stated(factor * m["value"], factor * m["U"], unit or m["unit"])
