"""Cuts to dull: how many cuts an edge makes before it fails a criterion fixed beforehand.

The edge is probed on a schedule and by a rule that are fixed before the first cut. What comes of
it is an interval: still sharp at the last probe it passed, dull at the first it failed. Strokes are
counted by the carriage's two switches, full ones only, whoever starts or kills the program.
"""

from collections.abc import Mapping
from typing import Any

from procedures.lib import cutplan, cutting, probing, questions, underway, verdicts
from rig.bench import Bench
from rig.errors import RigError
from rig.guide.parameters import Parameter, aside
from rig.guide.steps import Ask, Measure, Note, Passage, Procedure, Tell
from rig.guide.verdict import Verdict
from rig.measure.life import Life, Probe, Stop, judge

TITLE = "Cuts to dull"

PARAMETERS = (
    aside("specimen", "text", "", "code of the blade; asked for when left out"),
    Parameter("media", "text", "card", "what is cut: card, rope, wood ..."),
    Parameter("lot", "text", "", "lot of the medium; asked for when left out"),
    Parameter("cuts_per_sheet", "count", "100", "cuts that one sheet, roll or rope gives"),
    Parameter("control", "text", "", "code of a control blade that cuts each sheet first"),
    Parameter("control_cuts", "count", "5", "cuts of the control blade on each sheet"),
    aside("block", "text", "", "block of the study that this trial belongs to"),
    Parameter("drive", "text", "", "hand or motor; left out: the motor if the bench has one"),
    Parameter("count", "text", "rig", "rig, or hand: typed in, and marked as such"),
    aside("force", "flag", "no", "record the cutting force (cell on the carriage)"),
    questions.PHOTO,
    *probing.PARAMETERS,
    *cutplan.PARAMETERS,
)


def check(params: Mapping[str, Any], bench: Bench) -> None:
    """Refuse before anything is opened what cannot be kept."""
    questions.check_blade(params)
    cutplan.plan(params)
    cutting.how(params, bench)
    if params["cuts_per_sheet"] <= (params["control_cuts"] if params["control"] else 0):
        raise RigError(
            f"a sheet of {params['cuts_per_sheet']} cuts leaves none for the blade",
            where="cuts_per_sheet",
            remedy="give the cuts that one sheet takes",
        )


def procedure(params: Mapping[str, Any], bench: Bench) -> Procedure:
    """The guided test. Concludes with the life as an interval of cuts."""
    plan, used = cutplan.plan(params), cutting.how(params, bench)
    yield Tell(cutplan.costs(params, plan))
    specimen = yield from questions.blade(params)
    test = underway.Underway(specimen, plan, used, bench, params)
    medium = yield from cutting.media(params, bench)
    start = yield from _start(test)
    accepted = not _failed(test, start)
    if not accepted:
        yield Tell("Not as sharp as was fixed for the start. Sharpen it anew; nothing is cut.")
    else:
        if used.count == cutting.RIG:
            yield from cutting.try_switches(specimen, bench)
        yield from _cut_until_dull(test)
    return (yield from _concluded(test, medium, start, accepted))


def _start(test: underway.Underway) -> Passage[dict[str, Any]]:
    """The edge as it comes; what it will be judged by, it must pass now."""
    name, asked = f"{test.specimen} at the start", test.plan.criterion
    found = yield from probing.probe(name, test.specimen, asked, skippable=False)
    assert found is not None  # it could not be left out
    return (yield from probing.valued(name, asked, found))


def _cut_until_dull(test: underway.Underway) -> Passage[None]:
    """From probe to probe, as the schedule says, until the rule ends it."""
    while not test.stopped:
        due = test.plan.schedule.next_probe(test.cuts)
        if due is None:
            return
        yield from underway.cut_to(test, due)
        if test.stopped and test.cuts == _last_probed(test):
            return
        if test.cuts > due:
            yield Tell(f"The probe due at {due} cuts is made at {test.cuts}: that is what counts.")
        yield from _probe(test)
        if _verdict(test) is not Stop.GO_ON:
            return


def _last_probed(test: underway.Underway) -> int:
    return int(test.probes[-1]["cuts"]) if test.probes else 0


def _verdict(test: underway.Underway) -> Stop:
    done = [Probe(p["cuts"], tuple(p["passed"]), p["force_n"]) for p in test.probes]
    return judge(done, test.plan.rule).stop


def _probe(test: underway.Underway) -> Passage[None]:
    name = f"{test.specimen} after {test.cuts} cuts"
    probed = yield from probing.probe(
        name, test.specimen, test.plan.criterion, moving=cutting.moving(test.used, test.bench)
    )
    if probed is None:
        why = yield Ask("Why is this probe left out? It makes the interval wider", key="skipped")
        test.skipped.append({"cuts": test.cuts, "why": why["value"]})
        yield Note(f"Probe left out: {name}", kind="probe",
                   body={"specimen": test.specimen, "cuts": test.cuts, "skipped": why["value"]}
                   )  # fmt: skip
        return
    found = yield from probing.valued(name, test.plan.criterion, probed)
    again = not _failed(test, found) and bool(test.probes) and _failed(test, test.probes[-1])
    if again:
        yield Tell(
            f"It failed at {_last_probed(test)} cuts and passes now: the failure is not confirmed. "
            "Both stand in the record, and the test goes on."
        )
    test.probes.append({"cuts": test.cuts, **found})
    yield Note(
        f"Probe: {name}", kind="probe", body={"specimen": test.specimen, "cuts": test.cuts, **found}
    )


def _failed(test: underway.Underway, found: Mapping[str, Any]) -> bool:
    rule = test.plan.rule
    return not probing.sharp_enough(found, rule.failing, rule.force_limit_n)


def _concluded(
    test: underway.Underway, medium: Mapping[str, Any], start: Mapping[str, Any], accepted: bool
) -> Passage[dict[str, Any]]:
    """Edge looked at, life worked out, verdict put down."""
    edge = yield from _look(test.params["photo"]) if accepted else _unlooked()
    result = yield Measure(
        "Edge life", measurand="edge_life", trial=test.trial, raw_id=None,
        settings={
            "probes": test.probes,
            "rule": test.plan.to_dict()["rule"],
            "cuts": test.cuts,
            "rejected": test.rejected,
            "forces": test.forces,
            "accepted": accepted,
            "start": dict(start),
            "plan": test.plan.to_dict(),
            "media": dict(medium),
            "sheets": test.sheets,
            "controls": test.controls,
            "skipped": test.skipped,
            "typed": test.typed,
            "stopped": test.stopped,
        },
    )  # fmt: skip
    verdict = Verdict.judged(
        test.trial, test.specimen, result, life=result["life"],
        details={
            "counts": {"cuts": test.cuts, "typed": test.typed, "rejected": test.rejected},
            "hand_counted": test.typed > 0,
            "probes": test.probes,
            "skipped": test.skipped,
            "ended": test.stopped or result["stop"],
            **edge,
        },
    )  # fmt: skip
    yield Tell(_told(test, result, verdict))
    yield verdict.note()
    return verdict.summary()


def _unlooked() -> Passage[dict[str, str]]:
    yield Tell("Put it aside with its label.")
    return {"edge": "not cut", **questions.NO_PHOTO}


def _look(photo: bool) -> Passage[dict[str, str]]:
    look = yield Ask(
        "Look along the edge under a lens: what is it most?", key="edge_look", kind="choice",
        choices=("rolled", "chipped", "worn", "sharp"),
    )  # fmt: skip
    picture = (yield from questions.photograph("the edge")) if photo else questions.NO_PHOTO
    return {"edge": str(look["value"]), **picture}


def _told(test: underway.Underway, result: Mapping[str, Any], verdict: Verdict) -> str:
    life = result["life"]
    head = f"{test.trial}: no life can be stated"
    if life is not None and verdict.valid:
        fail = life["first_fail_cuts"]
        told = Life(
            test.specimen, "", life["last_pass_cuts"], float("inf") if fail is None else fail
        )
        head = f"{test.trial}: {told} ({result['stop']})"
    if test.typed:
        head += f"; {test.typed} of {test.cuts} cuts counted by hand"
    return verdicts.closed(head, verdict.words)
