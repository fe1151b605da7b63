"""Staircase impact: at which energy do half of the sites on an edge fail?

Each site gets one drop. After a failure the next site gets one step less energy, after a site that
held one step more. What counts as failed, the first energy, the step and the number of drops are
fixed before the first drop. A drop that is not valid is made again at its energy on a fresh site.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from procedures.lib import blow, damage, questions, session, tower, verdicts
from rig.bench import Bench
from rig.errors import RigError
from rig.guide import traceability
from rig.guide.assumed import USUAL, too_narrow
from rig.guide.parameters import Parameter, aside
from rig.guide.steps import Measure, Note, Outcome, Passage, Procedure, Tell
from rig.guide.verdict import Verdict
from rig.measure.budget import Measurand, Reason, from_dict
from rig.measure.drop.height import height_for_energy
from rig.measure.staircase.evaluate import fewer_costs
from rig.quantity import stated

TITLE = "Staircase impact"

SEVERITY = ("none", "roll", "chip", "crack")
LEAST = 6  # drops; ASTM D5420 calls 20 usual and as few as 10 often enough
END_AT_LIMIT = 4  # drops of one outcome in a row at the end of the tower's reach

PARAMETERS = (
    Parameter("energy", "energy", None, "energy of the first drop: your best guess of the answer"),
    Parameter("step", "fraction", "10%", "step, as a share of the first energy"),
    Parameter("drops", "count", str(USUAL), f"valid drops wanted, {LEAST} or more"),
    aside("specimen", "text", "", "code of the blade; several with commas share the staircase"),
    Parameter(
        "fails_from", "text", "chip", f"mildest damage that fails: {', '.join(SEVERITY[1:])}"
    ),
    Parameter("fails_at", "length", "100 mm", "damage as deep as this fails whatever its kind"),
    Parameter("tolerance", "fraction", "3%", "how far the energy may miss its target"),
    aside("spare", "count", "6", "drops that may be made again because they were not valid"),
    aside("empty_drops", "flag", "no", "make the empty drops anew, though this session's hold"),
)


def check(params: Mapping[str, Any], bench: Bench) -> None:
    """Refuse before anything is opened what this tower or this method cannot do."""
    tower.check_energy(params["energy"], bench)
    tower.check_asked(params)
    if params["fails_from"] not in SEVERITY[1:]:
        raise RigError(
            f"'{params['fails_from']}' is no damage that fails",
            where="fails_from",
            remedy=f"it is one of {', '.join(SEVERITY[1:])}",
        )
    if not 0 < params["fails_at"] <= questions.DAMAGE[1] * 2:
        raise RigError(
            f"{params['fails_at'] * 1e3:g} mm of damage",
            where="fails_at",
            remedy="write it like 0.5 mm; left out, its kind alone decides",
        )
    questions.check_blade(params, shared=True)
    if params["drops"] < LEAST:
        raise RigError(
            f"{params['drops']} drops tell no failure energy",
            where="drops",
            remedy=f"ask for {USUAL} (usual), or {LEAST} at the very least",
        )
    if not 0.02 <= params["step"] <= 0.5:
        raise RigError(
            f"a step of {params['step']:.0%}",
            where="step",
            remedy="take about as much as sites on one edge differ, between 2% and 50%",
        )


@dataclass
class _Stair:
    """Where the staircase stands."""

    start_j: float
    step_j: float
    level: int = 0  # steps above the start
    counted: list[dict[str, Any]] = field(default_factory=list)
    void: list[dict[str, Any]] = field(default_factory=list)
    eye: damage.Eye = field(default_factory=damage.Eye)

    @property
    def energy_j(self) -> float:
        """What the next drop is set to."""
        return self.start_j + self.level * self.step_j

    def in_order(self) -> dict[str, Any]:
        """Drop by drop, as a comparison takes it."""
        return {
            "levels_j": [drop["level_j"] for drop in self.counted],
            "failed": [drop["failed"] for drop in self.counted],
            "blades": [drop["blade"] for drop in self.counted],
            "step_j": self.step_j,
        }

    def go_on(self, failed: bool, lowest_j: float, highest_j: float) -> None:
        """Down after a failure, up after a hold, staying where the tower ends."""
        wanted = self.level + (-1 if failed else 1)
        if lowest_j <= self.start_j + wanted * self.step_j <= highest_j:
            self.level = wanted

    @property
    def at_its_end(self) -> bool:
        """The same outcome at the same energy again and again: the tower ends here."""
        last = self.counted[-END_AT_LIMIT:]
        return len(last) == END_AT_LIMIT and all(
            (one["level_j"], one["failed"]) == (last[0]["level_j"], last[0]["failed"])
            for one in last
        )


def procedure(params: Mapping[str, Any], bench: Bench) -> Procedure:
    """The guided staircase. Concludes with its failure energy and every drop."""
    yield from _begin(params, bench)
    specimen = yield from questions.blade(params, shared=True)
    blades = [part.strip() for part in specimen.split(",")]
    yield from _rule(params, blades)
    a_eff = yield from session.effective_acceleration(bench, params["empty_drops"])
    stair = _Stair(params["energy"], params["step"] * params["energy"])
    _height(stair, a_eff, bench)  # refuses a first energy out of today's reach
    while len(stair.counted) < params["drops"] and len(stair.void) <= params["spare"]:
        number = len(stair.counted) + len(stair.void) + 1
        yield from _drop(number, blades[(number - 1) % len(blades)], stair, params, a_eff, bench)
        if stair.at_its_end:
            yield Tell("The tower ends here: the staircase stops, its energy lies beyond.")
            break
    yield Tell(blow.OUT)
    return (yield from _conclude(specimen, stair, params, bench))


def _begin(params: Mapping[str, Any], bench: Bench) -> Passage[None]:
    without = [reason.text for reason in traceability.lacks(bench, "staircase")]
    if without:
        yield Tell(
            "PRACTICE ONLY: results of this run are an indication and enter no comparison, for "
            f"{'; '.join(without)}."
        )
    if params["drops"] < USUAL:
        yield Tell(
            f"{fewer_costs(params['drops'])}; the usual {USUAL} to 0.32. With fewer than {USUAL} "
            "the scatter of the sites is not told but taken as one step."
        )


def _rule(params: Mapping[str, Any], blades: Sequence[str]) -> Passage[None]:
    """What counts as failed, on record before anything has fallen."""
    kinds = SEVERITY[SEVERITY.index(params["fails_from"]) :]
    yield Tell(
        f"A site fails when you find a {' or '.join(kinds)}, or damage "
        f"{params['fails_at'] * 1e3:g} mm deep or more. That is fixed now."
    )
    if len(blades) > 1:
        yield Tell(
            f"{len(blades)} blades share this staircase, site by site in turn: together they count "
            "as one, so they must be of one group and one furnace load."
        )
    yield Note(
        "Rule of this staircase", kind="staircase_rule",
        body={"fails": list(kinds), "fails_at_m": params["fails_at"], "start_j": params["energy"],
              "step": params["step"], "drops": params["drops"], "blades": list(blades)},
    )  # fmt: skip


def _height(stair: _Stair, a_eff: Measurand, bench: Bench) -> float:
    height_m = float(height_for_energy(stair.energy_j, tower.mass(bench), a_eff).value)
    tower.require_reach(height_m, stair.energy_j, bench)
    return height_m


def _drop(
    number: int, blade: str, stair: _Stair, params: Mapping[str, Any], a_eff: Measurand,
    bench: Bench,
) -> Passage[None]:  # fmt: skip
    """One drop at the staircase's energy; counted when it is valid."""
    level_j, height_m = stair.energy_j, _height(stair, a_eff, bench)
    yield Tell(f"Drop {number}: {level_j:.4g} J, {height_m * 1e3:.1f} mm.")
    asked = blow.Asked(level_j, height_m, params["tolerance"], eye=stair.eye)
    site = yield from blow.blow(f"{blade} site {number}", number, blade, asked, bench)
    if not site.valid:
        stair.void.append({"trial": site.trial, "level_j": level_j, "reasons": site.words})
        yield _site(number, site, level_j, None)
        yield Tell("Not valid: the same energy again, on a fresh site.")
        return
    failed = _failed(site.damage or {}, params)
    of = site.details
    stair.counted.append({
        "trial": site.trial, "blade": blade, "level_j": level_j, "energy_j": of["energy_j"],
        "u_j": of["energy_U_j"] / 2, "failed": failed,
    })  # fmt: skip
    yield _site(number, site, level_j, failed)
    stair.go_on(failed, *_reach(a_eff, bench))
    yield Tell(f"{site.trial}: {'FAILED' if failed else 'held'}; "
               f"{len(stair.counted)} of {params['drops']} drops.")  # fmt: skip


def _site(number: int, site: Verdict, level_j: float, failed: bool | None) -> Note:
    """The verdict on one site; whether it failed, when it counts."""
    body = {**site.to_dict(), "level_j": level_j, "failed": failed}
    return Note(f"Site {number}", kind="site", body=body)


def _failed(damage: Mapping[str, Any], params: Mapping[str, Any]) -> bool:
    mildest = SEVERITY.index(params["fails_from"])
    return bool(
        SEVERITY.index(damage["kind"]) >= mildest or damage["depth_m"] >= params["fails_at"]
    )


def _reach(a_eff: Measurand, bench: Bench) -> tuple[float, float]:
    """Lowest and highest energy of this tower today."""
    pull = bench.tower.carriage.mass_kg * a_eff.value
    travel = bench.tower.travel
    return pull * travel.min_drop_m, pull * travel.max_drop_m


def _conclude(
    specimen: str, stair: _Stair, params: Mapping[str, Any], bench: Bench
) -> Passage[dict[str, Any]]:
    trial = f"{specimen} staircase"
    result = yield Measure(
        "Energy at which half of the sites fail",
        measurand="staircase",
        trial=trial,
        raw_id=None,
        settings={"drops": stair.counted, "void": stair.void, "step_j": stair.step_j},
    )
    verdict = Verdict.judged(
        trial, specimen, result, lacks=traceability.lacks(bench, "staircase"),
        censored=result["censored"], stair=stair.in_order(),
        details={"drops": len(stair.counted), "planned_drops": params["drops"],
                 "void": stair.void},
    )  # fmt: skip
    if len(stair.counted) < LEAST and not result["censored"]:
        text = f"only {len(stair.counted)} drops were valid, {LEAST} are the least"
        verdict = verdict.but(Reason("too_few_drops", text))
    yield Tell(_told(trial, result, verdict.words))
    yield verdict.note()
    return {**verdict.summary(), "failure_energy": result["measurands"].get("failure_energy")}


def _told(trial: str, result: Outcome, reasons: Sequence[str]) -> str:
    found = result["measurands"].get("failure_energy")
    if found is None:
        return f"{trial}: NOT VALID: {'; '.join(reasons)}."
    energy = from_dict(found)
    words = {"": "half of the sites fail at", "right": "no site failed: the energy lies above",
             "left": "every site failed: the energy lies below"}  # fmt: skip
    shown = f"{energy.value:.3g} J" if result["censored"] else stated(energy.value, energy.U, "J")
    text = verdicts.closed(f"{trial}: {words[result['censored']]} {shown}", reasons)
    cautions = filter(None, [too_narrow(result), *result["cautions"]])
    return "\n".join([text, *(f"  mind: {one}" for one in cautions)])
