"""Calibrate the load channel with dead weights on the lever, to either side.

Each side is pulled once by the largest weight, then three runs rise to it and fall again, with
the zero read before and after each. The certificate says from where to where a torque is good.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from procedures.lib import calibrating, checks
from procedures.lib.calibrating import Stopped
from rig.bench import Bench
from rig.calibration.load import early_reasons
from rig.calibration.weights import SIGNS, Facts
from rig.errors import RigError
from rig.guide.parameters import Parameter
from rig.guide.steps import Do, Outcome, Passage, Procedure, Read, Tell
from rig.units import parse_quantity

TITLE = "Calibration of the load channel"

PARAMETERS = (
    Parameter("operator", "text", "", "your initials; asked for when left out"),
    Parameter("weights", "text", "", 'weights to hang, like "0.2 kg, 2 lb, 10 kg"; left out, the '
              "bench's own"),
)  # fmt: skip

RUNS = 3
LEAST = 3  # weights: fewer show no bow
CREEP_S = 60.0


def _facts(bench: Bench) -> Facts:
    return Facts(bench.cell, bench.pry.arm, bench.pry.calibration, bench.site)


def check(params: Mapping[str, Any], bench: Bench) -> None:
    """Refuse before anything is opened weights that cannot be hung."""
    _masses(params["weights"], _facts(bench))


def procedure(params: Mapping[str, Any], bench: Bench) -> Procedure:
    """The guided calibration. Concludes with the certificate, or the reasons for none."""
    facts = _facts(bench)
    masses = _masses(params["weights"], facts)
    yield Do(
        "A weight can fall. Feet from under it, shoes on; lift heavy ones "
        "with both hands. Nothing seated or clamped in the arm; the lever level.",
        hand="free",
        hazards=("weights", "trap"),
    )
    operator = yield from calibrating.operator(params)
    try:
        runs, creep = yield from _all_runs(masses, facts, bench)
    except Stopped as stopped:
        return (yield from calibrating.refuse("load", stopped.reasons))
    return (
        yield from calibrating.issue(
            "load",
            {
                "bench": bench.name,
                "cell": bench.cell.model_dump(mode="json"),
                "arm": bench.pry.arm.model_dump(mode="json"),
                "calibration": bench.pry.calibration.model_dump(mode="json"),
                "site": bench.site.model_dump(mode="json"),
                "operator": operator,
                "runs": runs,
                "creep": creep,
            },
        )
    )


def _masses(told: str, facts: Facts) -> list[float]:
    """The weights in kg, lightest first.

    Raises:
        RigError: one cannot be read, two are alike, or the cell would be overloaded.
    """
    texts = [text for text in told.split(",") if text.strip()]
    own = [parse_quantity(text, "mass", "weights") for text in texts]
    masses = sorted(own or facts.calibration.masses_kg)
    if len(set(masses)) < len(masses) or masses[0] <= 0:
        raise RigError(
            "the weights must be above zero and differ", where="weights",
            remedy="name each load once", value=told,
        )  # fmt: skip
    if len(masses) < LEAST:
        raise RigError(
            f"{len(masses)} weights", where="weights", remedy=f"name {LEAST} or more", value=told
        )
    capacity_nm = facts.cell.capacity_n * facts.arm.length_m
    largest_nm = facts.torque_nm(masses[-1])
    if largest_nm > capacity_nm:
        raise RigError(
            f"{masses[-1]:g} kg gives {largest_nm:.3g} N·m; the cell on this arm bears "
            f"{capacity_nm:.3g} N·m",
            where="weights",
            remedy="hang less",
            value=masses[-1],
        )
    return masses


def _all_runs(
    masses: Sequence[float], facts: Facts, bench: Bench
) -> Passage[tuple[list[dict[str, Any]], dict[str, Any]]]:
    runs: list[dict[str, Any]] = []
    creep: dict[str, Any] = {}
    for side in SIGNS:
        unused = yield from _zero(f"{side} unused zero", side, bench)
        yield from _read(
            _hang(masses[-1], side, f"{side} first pull", bench, "First pull, not counted: ")
        )
        for number in range(1, RUNS + 1):
            run = yield from _run(side, number, masses, bench)
            runs.append(run if number > 1 else {**run, "zero_unused": unused})
            found = [reason.text for reason in early_reasons(run, facts)]
            if found:
                raise Stopped(found)
        if side == "right":
            creep = yield from _creep(masses[-1], side, runs[-1]["zero_after"], bench)
    return runs, creep


def _run(side: str, number: int, masses: Sequence[float], bench: Bench) -> Passage[dict[str, Any]]:
    """One run up and down."""
    name = f"{side} run {number}"
    yield Tell(f"Run {number} of {RUNS} to the {side}.")
    before = yield from _zero(f"{name} zero before", side, bench)
    points = []
    way = [(mass, True) for mass in masses] + [(mass, False) for mass in masses[-2::-1]]
    for mass, rising in way:
        trial = f"{name} {mass:g} kg {'rising' if rising else 'falling'}"
        reading = yield from _read(_hang(mass, side, trial, bench))
        points.append({"mass_kg": mass, "rising": rising, **reading})
    after = yield from _zero(f"{name} zero after", side, bench)
    return {"side": side, "run": number, "zero_before": before, "points": points,
            "zero_after": after}  # fmt: skip


def _creep(mass: float, side: str, zero: Outcome, bench: Bench) -> Passage[dict[str, Any]]:
    """The largest weight read at once and after a while."""
    early = yield from _read(_hang(mass, side, "creep begin", bench, "For the creep: "))
    late = yield from _read(
        checks.load_read(
            f"Leave the {mass:g} kg hanging, pulling {side}, for {CREEP_S:.0f} s more. Feet "
            "from under it, hands off.",
            "creep end",
            bench,
            "",
            {},
            settle_s=CREEP_S,
            hazards=("weights",),
        )
    )
    return {"early": early["mean"], "late": late["mean"], "zero": zero["mean"], "after_s": CREEP_S}


def _hang(mass: float, side: str, trial: str, bench: Bench, why: str = "") -> Read:
    text = f"{why}Hang {mass:g} kg so that it pulls {side}. Let it stop swinging. Hands off."
    return checks.load_read(text, trial, bench, "hang", {"mass_kg": mass, "side": side})


def _zero(trial: str, side: str, bench: Bench) -> Passage[Outcome]:
    text = f"Take every weight off (next pull: {side}). Hands off."
    return (yield from _read(checks.load_read(text, trial, bench, "unhang", {})))


def _read(step: Read) -> Passage[Outcome]:
    """A good reading.

    Raises:
        Stopped: the person gave up.
    """
    reading = yield from checks.good_reading(step)
    if reading is None:
        raise Stopped([f"{step.trial}: no good reading came"])
    return reading
