"""Drop-weight impact: a falling mass of known, measured energy on a blade's edge.

The blade is clamped by its spine, edge up; the striker carries a soft-metal rod across the edge.
Each drop goes on a fresh site of the edge, at least 5 mm or three damage widths from the last one,
whichever is more. Impact energy is what the measured speed says, never m g h.
"""

from collections.abc import Mapping
from typing import Any

from procedures.lib import blow, damage, questions, session, tower
from rig.bench import Bench
from rig.errors import RigError
from rig.guide import traceability
from rig.guide.parameters import Parameter, aside
from rig.guide.steps import Passage, Procedure, Tell
from rig.guide.verdict import Verdict
from rig.measure.drop.height import height_for_energy
from rig.quantity import stated

TITLE = "Drop-weight impact"

PARAMETERS = (
    Parameter("energy", "energy", None, 'impact energy wanted, any unit: 5J, "3.7 ft*lbf"'),
    aside("specimen", "text", "", "code of the blade; asked for when left out"),
    aside("drops", "count", "1", "valid drops wanted, each on a fresh site"),
    Parameter("tolerance", "fraction", "3%", "how far the energy may miss its target"),
    Parameter("allow_second_strike", "flag", "no", "count a second blow in instead of refusing it"),
    aside("spare", "count", "3", "drops that may be made again because they were not valid"),
    aside("empty_drops", "flag", "no", "make the empty drops anew, though this session's hold"),
)


def check(params: Mapping[str, Any], bench: Bench) -> None:
    """Refuse before anything is opened what this tower cannot do."""
    tower.check_energy(params["energy"], bench)
    tower.check_asked(params)
    questions.check_blade(params)
    if params["drops"] < 1:
        raise RigError("0 drops measure nothing", where="drops", remedy="ask for 1 or more")


def procedure(params: Mapping[str, Any], bench: Bench) -> Procedure:
    """The guided test. Concludes with the list of drops and their verdicts."""
    without = [reason.text for reason in traceability.lacks(bench, "drop")]
    if without:
        yield Tell(
            "PRACTICE ONLY: results of this run are an indication and enter no comparison, for "
            f"{'; '.join(without)}."
        )
    specimen = yield from questions.blade(params)
    a_eff = yield from session.effective_acceleration(bench, params["empty_drops"])
    height_m = height_for_energy(params["energy"], tower.mass(bench), a_eff).value
    tower.require_reach(height_m, params["energy"], bench)
    yield Tell(
        f"{params['energy']:.4g} J needs {height_m * 1e3:.1f} mm today "
        f"(effective acceleration {stated(a_eff.value, a_eff.U, a_eff.unit)})."
    )
    drops: list[Verdict] = []
    eye = damage.Eye()
    while _valid(drops) < params["drops"] and len(drops) < params["drops"] + params["spare"]:
        drops.append((yield from _drop(len(drops) + 1, specimen, height_m, params, eye, bench)))
    made = "1 drop" if len(drops) == 1 else f"{len(drops)} drops"
    yield Tell(f"{_valid(drops)} of {made} valid. {blow.OUT}")
    return {"specimen": specimen, "drops": [drop.summary() for drop in drops], "a_eff": a_eff.value}


def _valid(drops: list[Verdict]) -> int:
    return sum(drop.valid for drop in drops)


def _drop(
    number: int, specimen: str, height_m: float, params: Mapping[str, Any], eye: damage.Eye,
    bench: Bench,
) -> Passage[Verdict]:  # fmt: skip
    """One drop on a fresh site, with its verdict."""
    asked = blow.Asked(
        params["energy"], height_m, params["tolerance"], params["allow_second_strike"], eye
    )
    verdict = yield from blow.blow(f"{specimen} drop {number}", number, specimen, asked, bench)
    yield verdict.note()
    return verdict
