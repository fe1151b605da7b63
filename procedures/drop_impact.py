"""Drop-weight impact: a falling mass of known, measured energy on a blade's edge.

The blade is clamped by its spine, edge up; the striker carries a soft-metal rod across the edge.
Each drop goes on a fresh site of the edge, at least 5 mm or three damage widths from the last one,
whichever is more. Impact energy is what the measured speed says, never m g h.
"""

from collections.abc import Mapping
from typing import Any

from procedures.lib import tower
from rig.bench import Bench
from rig.calibration.inforce import lacking
from rig.errors import RigError
from rig.guide.parameters import Parameter
from rig.guide.steps import Ask, Do, Measure, Note, Passage, Procedure, Tell
from rig.measure.height import height_for_energy

TITLE = "Drop-weight impact"

PARAMETERS = (
    Parameter("energy", "energy", None, 'impact energy wanted, any unit: 5J, "3.7 ft*lbf"'),
    Parameter("specimen", "text", "", "code of the blade; asked for when left out"),
    Parameter("drops", "count", "1", "valid drops wanted, each on a fresh site"),
    Parameter("tolerance", "fraction", "3%", "how far the energy may miss its target"),
    Parameter("allow_second_strike", "flag", "no", "count a second blow in instead of refusing it"),
    Parameter("spare", "count", "3", "drops that may be made again because they were not valid"),
    Parameter("empty_drops", "flag", "no", "make the empty drops anew, though this session's hold"),
)

SITE = (
    "at least 5 mm or three damage widths from the last mark, whichever is more; a fresh face of "
    "the rod"
)


def check(params: Mapping[str, Any], bench: Bench) -> None:
    """Refuse before anything is opened what this tower cannot do."""
    tower.check_energy(params["energy"], bench)
    if params["drops"] < 1:
        raise RigError("0 drops measure nothing", where="drops", remedy="ask for 1 or more")


def procedure(params: Mapping[str, Any], bench: Bench) -> Procedure:
    """The guided test. Concludes with the list of drops and their verdicts."""
    specimen = params["specimen"]
    without = lacking(bench, "height")
    if without:
        yield Tell(
            "PRACTICE ONLY: results of this run are an indication and enter no comparison, for "
            f"{'; '.join(without)}."
        )
    yield Do(
        "Read before you start: this is a falling mass. Know where the e-stop is.",
        hazards=("falling_mass", "chips", "edge", "pinch"),
    )
    if not specimen:
        answer = yield Ask("Which blade? Its code", key="specimen")
        specimen = answer["value"]
    a_eff = yield from tower.effective_acceleration(bench, params["empty_drops"])
    height_m = height_for_energy(params["energy"], tower.mass(bench), a_eff).value
    tower.require_reach(height_m, params["energy"], bench)
    yield Tell(
        f"{params['energy']:.4g} J needs {height_m * 1e3:.1f} mm today "
        f"(effective acceleration {a_eff.value:.3f} ± {a_eff.U:.3f} m/s²)."
    )
    drops: list[dict[str, Any]] = []
    while _valid(drops) < params["drops"] and len(drops) < params["drops"] + params["spare"]:
        drops.append((yield from _drop(len(drops) + 1, specimen, height_m, params, bench)))
    yield Tell(f"{_valid(drops)} of {len(drops)} drops valid. Put the pin in before you reach in.")
    return {"specimen": specimen, "drops": drops, "a_eff": a_eff.value}


def _valid(drops: list[dict[str, Any]]) -> int:
    return sum(drop["valid"] for drop in drops)


def _drop(
    number: int, specimen: str, height_m: float, params: Mapping[str, Any], bench: Bench
) -> Passage[dict[str, Any]]:
    """One drop on a fresh site, from loading to the look at the edge."""
    trial = f"{specimen} drop {number}"
    yield Do(
        f"Drop {number}: carriage up and clear, pin in, guard open. Clamp blade {specimen} by its "
        f"spine, edge up under the striker, {SITE}. Pin out.",
        hand="load",
        detail={"specimen": specimen},
        hazards=("edge", "falling_mass"),
    )
    fall = yield from tower.fall(trial, height_m, bench)
    if fall["raw_id"] is None:
        return (yield from _unrecorded(trial, specimen, fall))
    after = yield from tower.touch_again(fall)
    asked = {
        "energy_j": params["energy"],
        "tolerance": params["tolerance"],
        "height_m": height_m,
        "band_m": bench.tower.travel.release_band_m,
        "second_strike_allowed": params["allow_second_strike"],
    }
    result = yield Measure(
        "Energy of this drop",
        measurand="drop",
        trial=trial,
        raw_id=fall["raw_id"],
        settings=tower.settings(bench, fall, after, asked),
    )
    reasons = [*fall["reasons"], *(reason["text"] for reason in result["reasons"])]
    yield Tell(tower.told(trial, result, reasons))
    damage = yield from _look(trial)
    summary = tower.summary(trial, result, reasons) | {
        "specimen": specimen,
        "damage": damage,
        "indication": list(lacking(bench, "height")),
    }
    yield Note(f"Verdict of {trial}", kind="verdict", body=summary)
    return summary


def _unrecorded(trial: str, specimen: str, fall: Mapping[str, Any]) -> Passage[dict[str, Any]]:
    """The carriage may have fallen while nobody recorded: never a number."""
    reason = f"not recorded ({tower.unrecorded(fall)}): it may have fallen unseen"
    answer = yield Ask(
        f"{trial} was permitted, but its fall was not recorded. Did the carriage fall?",
        key="fell",
        kind="choice",
        choices=("yes", "no", "unsure"),
    )
    told = {"yes": "it fell", "no": "it did not fall", "unsure": "nobody knows whether it fell"}
    summary = {
        "trial": trial,
        "specimen": specimen,
        "valid": False,
        "reasons": [reason, f"the person at the bench says: {told[answer['value']]}"],
        "energy_j": None,
    }
    yield Note(f"Verdict of {trial}", kind="verdict", body=summary)
    return summary


def _look(trial: str) -> Passage[dict[str, Any]]:
    """Damage as the eye and the caliper find it, with the reading's own uncertainty."""
    yield Do(
        "Raise the carriage clear of the blade and let the catch hold it. Pin in, then look.",
        hand="lift",
        hazards=("falling_mass", "edge"),
    )
    kind = yield Ask(
        "Damage at this site", key="damage", kind="choice",
        choices=("none", "roll", "chip", "crack"),
    )  # fmt: skip
    found: dict[str, Any] = {"kind": kind["value"], "depth_m": 0.0, "width_m": 0.0, "u_m": 0.0}
    if kind["value"] != "none":
        depth = yield Ask("Depth of the damage, like 0.3 mm", key="depth", kind="length")
        width = yield Ask("Width along the edge, like 1.2 mm", key="width", kind="length")
        u = yield Ask(
            "How sure is the reading (standard uncertainty)? caliper 0.05 mm, reticle 0.02 mm",
            key="u", kind="length", default="0.05 mm",
        )  # fmt: skip
        found |= {"depth_m": depth["value"], "width_m": width["value"], "u_m": u["value"]}
    yield Note(f"Damage of {trial}", kind="damage", body={"trial": trial, **found})
    return found
