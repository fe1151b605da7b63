"""Sharpness: one probe of an edge, by severing force, or graded by shaving or paper."""

from collections.abc import Mapping
from typing import Any

from procedures.lib import probing, questions, verdicts
from rig.bench import Bench
from rig.guide.parameters import Parameter, aside
from rig.guide.steps import Procedure, Tell
from rig.guide.verdict import Verdict
from rig.quantity import stated

TITLE = "Sharpness"

PARAMETERS = (
    aside("specimen", "text", "", "code of the blade; asked for when left out"),
    *(
        parameter if parameter.name != "probe"
        else Parameter("probe", "text", "force", parameter.help)
        for parameter in probing.PARAMETERS if parameter.name != "force_limit"
    ),
)  # fmt: skip


def check(params: Mapping[str, Any], _: Bench) -> None:
    """Refuse what is no blade, and a probe that cannot be made."""
    questions.check_blade(params)
    _asked(params)


def procedure(params: Mapping[str, Any], _: Bench) -> Procedure:
    """The guided probe. Concludes with the median force, the grades, or both."""
    asked = _asked(params)
    specimen = yield from questions.blade(params)
    trial = f"{specimen} sharpness"
    found = yield from probing.probe(trial, specimen, asked, skippable=False)
    assert found is not None  # it could not be left out
    result = yield probing.measure(trial, asked, found)
    verdict = Verdict.judged(trial, specimen, result, details=_figures(result, found))
    yield Tell(_told(trial, result, found, verdict))
    yield verdict.note()
    return verdict.summary()


def _asked(params: Mapping[str, Any]) -> probing.Criterion:
    return probing.criterion({**params, "force_limit": 0.0})


def _told(trial: str, result: Mapping[str, Any], found: Mapping[str, Any], verdict: Verdict) -> str:
    parts = []
    force = result["measurands"].get("severing_force")
    if force is not None:
        parts.append(f"severing force {stated(force['value'], force['U'], 'N')}")
    for kind, answers in found["grades"].items():
        parts.append(f"{kind}: {answers.count('pass')} of {len(answers)} places pass")
    head = f"{trial}: {'; '.join(parts)}"
    return verdicts.closed(head, verdict.words)


def _figures(result: Mapping[str, Any], found: Mapping[str, Any]) -> dict[str, Any]:
    force = result["measurands"].get("severing_force") or {}
    return {
        "severing_force_n": force.get("value"),
        "severing_force_U_n": force.get("U"),
        "grades": dict(found["grades"]),
    }
