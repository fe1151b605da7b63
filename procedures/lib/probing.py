"""Probes of an edge: graded pass or fail at marked places, and the force to sever a thread.

The wording of each grade is fixed before the start and shown at every probe. A place that failed
once has failed, whatever a second try shows; the second try is written down beside it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from procedures.lib import questions, verdicts
from procedures.lib.cutting import STILL
from rig.errors import RigError
from rig.guide.parameters import Parameter
from rig.guide.steps import Ask, Do, Measure, Passage, Tell
from rig.measure.severing import LEAST, READINGS
from rig.quantity import stated

# The limits below are ours.
HIGHEST_N = 100.0  # what severs a thread is far below it
COARSEST_N = 0.5
MOST_PLACES, MOST_READINGS = 50, 100
WORST_SCALE = 0.2
GRADED = ("shave", "paper")
GRADES = ("pass", "fail", "repeat")
FORCE = "force"
FAR = 2.0  # times above or below the middle of its fellows: read once more
NEW_TRIAL = (
    "The criterion was fixed before the first cut and holds to the end. For another one give this "
    "run up (the same command with --abandon 'criterion') and start a new trial on an edge "
    "sharpened anew, with probe=..., shave_means=... or paper_means=..."
)
NO_SKIP = "The probe at the start cannot be left out: without it nothing is known of the edge."

PARAMETERS = (
    Parameter("probe", "text", "shave", "shave, paper, force, or several: shave,force"),
    Parameter("places", "count", "3", "marked places of the edge that are graded"),
    Parameter(
        "shave_means", "text", "takes hair off at one light stroke, no second stroke",
        "what counts as a pass",
    ),
    Parameter(
        "paper_means", "text", "parts newsprint by a push alone, no sawing, no snag",
        "what counts as a pass",
    ),
    Parameter("readings", "count", str(READINGS), "severings of the thread in one probe"),
    Parameter("force_limit", "force", "0 N", "above this severing force the edge is dull"),
    Parameter("resolution", "force", "0.01 N", "step in which the force is read"),
    Parameter("scale_error", "fraction", "2%", "standard uncertainty of the scale's reading"),
)  # fmt: skip


@dataclass(frozen=True)
class Criterion:
    """By what an edge is judged.

    Attributes:
        kinds: of the probe, in order.
        means: what counts as a pass of each graded kind.
        places: marked places that are graded.
        readings: severings in one probe.
        limit_n: severing force above which the edge is dull; None: none.
        resolution_n, u_relative: of the scale the force is read on.
    """

    kinds: tuple[str, ...]
    means: Mapping[str, str]
    places: int
    readings: int
    limit_n: float | None
    resolution_n: float
    u_relative: float

    @property
    def graded(self) -> tuple[str, ...]:
        """The kinds that pass or fail."""
        return tuple(kind for kind in self.kinds if kind in GRADED)


def criterion(params: Mapping[str, Any]) -> Criterion:
    """The criterion asked for.

    Raises:
        RigError: no such probe, or one that cannot be judged.
    """
    kinds = tuple(kind.strip() for kind in params["probe"].split(",") if kind.strip())
    wrong = [kind for kind in kinds if kind not in (*GRADED, FORCE)]
    if wrong or not kinds or len(set(kinds)) != len(kinds):
        raise RigError(
            f"'{params['probe']}' is no probe, or one twice",
            where="probe",
            remedy="write shave, paper, force, or several like shave,force",
        )
    if FORCE in kinds and params["readings"] < LEAST:
        raise RigError(
            f"{params['readings']} readings of the force",
            where="readings",
            remedy=f"take {LEAST} or more, {READINGS} are usual",
        )
    if params["readings"] > MOST_READINGS:
        raise RigError(
            f"{params['readings']} readings of the force in one probe",
            where="readings",
            remedy=f"{READINGS} are usual; take {MOST_READINGS} or fewer",
        )
    if set(kinds) != {FORCE} and not 1 <= params["places"] <= MOST_PLACES:
        raise RigError(
            f"{params['places']} marked places to grade",
            where="places",
            remedy=f"mark three, or up to {MOST_PLACES}",
        )
    _require_sense(params)
    return Criterion(
        kinds=kinds,
        means={kind: params[f"{kind}_means"] for kind in kinds if kind in GRADED},
        places=params["places"],
        readings=params["readings"],
        limit_n=(params["force_limit"] or None) if FORCE in kinds else None,
        resolution_n=params["resolution"],
        u_relative=params["scale_error"],
    )


def _require_sense(params: Mapping[str, Any]) -> None:
    """Refuse a scale that cannot be, and a limit that no thread reaches."""
    if not 0 <= params["force_limit"] <= HIGHEST_N:
        raise RigError(
            f"a limit of {params['force_limit']:g} N",
            where="force_limit",
            remedy=f"it is 0 N (none) to {HIGHEST_N:g} N",
        )
    if not 0 < params["resolution"] <= COARSEST_N:
        raise RigError(
            f"a step of {params['resolution']:g} N",
            where="resolution",
            remedy=f"read the force in steps above 0 N and of {COARSEST_N:g} N at most",
        )
    if params["scale_error"] > WORST_SCALE:
        raise RigError(
            f"{params['scale_error']:.0%} of a reading",
            where="scale_error",
            remedy=f"use a scale that is good to {WORST_SCALE:.0%} or better",
        )


def probe(
    name: str, specimen: str, asked: Criterion, skippable: bool = True,
    moving: tuple[str, ...] = (),
) -> Passage[dict[str, Any] | None]:  # fmt: skip
    """One probe; None when the person left it out.

    `moving`: hazards of the frame that the blade is clamped in; empty when it is in none.

    Gives `passed` (each marked place, all graded kinds together), `grades` (each kind's answers)
    and `readings_n` (empty without force).
    """
    out = f"{STILL}. Gloves on: take the blade out" if moving else "Gloves on: take the blade"
    yield Do(
        f"{name}. {out} by its spine, wipe it. Test the edge away from yourself, then put it down; "
        "gloves off.",
        hand="take_out", detail={"specimen": specimen}, hazards=("edge", "probing", *moving),
    )  # fmt: skip
    grades: dict[str, list[str]] = {}
    for kind in asked.graded:
        answers = yield from _grade(name, kind, asked, skippable)
        if answers is None:
            return None
        grades[kind] = answers
    good = [all(grades[kind][place] == "pass" for kind in grades) for place in range(asked.places)]
    readings = (yield from _readings(name, asked)) if FORCE in asked.kinds else []
    return {"passed": good if grades else [], "grades": grades, "readings_n": readings}


def valued(trial: str, asked: Criterion, found: Mapping[str, Any]) -> Passage[dict[str, Any]]:
    """The probe with its force worked out: `force_n`, `u_n`, `dof`, `reasons`."""
    told = {**found, "force_n": None, "u_n": None, "dof": None, "reasons": []}
    if not found["readings_n"]:
        return told
    result = yield measure(trial, asked, found)
    force = result["measurands"]["severing_force"]
    yield Tell(f"{trial}: {stated(force['value'], force['U'], 'N')}")
    reasons = verdicts.reasons(result)
    return {**told, "force_n": force["value"], "u_n": force["u"], "dof": force["dof"],
            "reasons": reasons}  # fmt: skip


def measure(trial: str, asked: Criterion, found: Mapping[str, Any]) -> Measure:
    """The step that works out what a probe shows."""
    return Measure(
        "What the probe shows", measurand="sharpness", trial=trial, raw_id=None,
        settings={
            "readings_n": list(found["readings_n"]),
            "gauge": {"resolution_n": asked.resolution_n, "u_relative": asked.u_relative},
            "grades": {kind: list(answers) for kind, answers in found["grades"].items()},
            "means": dict(asked.means),
        },
    )  # fmt: skip


def _grade(name: str, kind: str, asked: Criterion, skippable: bool) -> Passage[list[str] | None]:
    """Answers of the marked places; None when the probe was left out."""
    places = asked.places
    which = (
        "the mark: pass or fail" if places == 1 else f"marks 1 to {places}: pass or fail of each"
    )
    while True:
        answer = yield Ask(
            f"{name}, {kind} at {which}, like {' '.join(('pass', 'fail', 'pass')[:places])} "
            f"(p, f will do). Pass means: {asked.means[kind]}. (repeat: it failed, then passed; "
            "skip; change)",
            key=f"{kind}_{places}",
        )
        said = str(answer["value"]).lower()
        answers = _answers(said)
        if said == "change":
            yield Tell(NEW_TRIAL)
        elif said == "skip" and skippable:
            return None
        elif said == "skip":
            yield Tell(NO_SKIP)
        elif len(answers) != places:
            yield Tell(f"'{said}' is not {places} times pass, fail or repeat.")
        else:
            if "repeat" in answers:
                yield Tell("It failed once: that stands. The second try is written down beside it.")
            return answers


def _answers(said: str) -> list[str]:
    """`pass fail`, `p f` and `pf` alike; empty when a part of it is no grade."""
    parts = said.replace(",", " ").split()
    if len(parts) == 1 and parts[0] not in GRADES:
        parts = list(parts[0])
    found = [next((grade for grade in GRADES if grade.startswith(part)), "") for part in parts]
    return found if all(found) else []


def _readings(name: str, asked: Criterion) -> Passage[list[float]]:
    def one(number: int, far: questions.Far) -> Passage[float]:
        text = (
            f"{name}: force to sever the thread, reading {number} of {asked.readings}, at a place "
            "not used before, like 1.25 N"
        )
        return questions.force(text, "severing", HIGHEST_N, far)

    def far_from(taken: Sequence[float]) -> questions.Far:
        return questions.far_by_ratio(taken, FAR)

    return (yield from questions.series(asked.readings, one, far_from, "severing", "N"))


def sharp_enough(found: Mapping[str, Any], failing: int, limit_n: float | None) -> bool:
    """Whether an edge at its start passes what it will be judged by later."""
    graded = found["passed"].count(False) < failing if found["passed"] else True
    measured = limit_n is None or found["force_n"] is None or found["force_n"] <= limit_n
    return bool(graded and measured)
