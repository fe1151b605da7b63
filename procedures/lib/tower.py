"""The drop tower's passages: what it can do, contact, raise, release, and a drop in words."""

from collections.abc import Mapping
from typing import Any

from rig.bench import Bench
from rig.errors import RigError
from rig.guide.steps import (
    Do,
    Outcome,
    Passage,
    Raise,
    Ready,
    Release,
    Tell,
    Touch,
)
from rig.measure.budget import Input, Reason, from_dict
from rig.quantity import stated

AGAIN = {
    "RESTARTED": "The board was restarted: its height began anew.",
    "READS_LOWER": "The height reads lower than at contact: the striker did not rest there.",
    "SAID": "As you say: that contact does not count.",
}
"""Why contact is found again, in words for the person."""

RULE = 2  # see rig.measure.drop.facts.DropFacts
MOST = {"drops": 200, "spare": 100}
"""Of one run: 200 sites 5 mm apart are a metre of edge. Ours."""
TOLERANCES = (0.001, 0.2)  # ours: finer than energies repeat; coarser is no target
HIGH_M = 100.0  # ours: no tower is so high; beyond it a height is not written out


def mass(bench: Bench) -> Input:
    """The falling mass as an input of a budget."""
    carriage = bench.tower.carriage
    return Input("mass", carriage.mass_kg, carriage.u_mass_kg, source=carriage.source, unit="kg")


def check_asked(params: Mapping[str, Any]) -> None:
    """Refuse numbers of drops that no edge and no day has room for, and a target that is none.

    Raises:
        RigError: naming the setting.
    """
    for name, most in MOST.items():
        if params[name] > most:
            raise RigError(
                f"{params[name]} is more than anybody makes in a run",
                where=name,
                remedy=f"ask for {most} or fewer",
            )
    if not TOLERANCES[0] <= params["tolerance"] <= TOLERANCES[1]:
        low, high = (f"{100 * end:g}%" for end in TOLERANCES)
        raise RigError(
            f"an energy that may miss its target by {100 * params['tolerance']:.6g}%",
            where="tolerance",
            remedy=f"3% is usual; it is {low} to {high}",
        )


def check_energy(energy_j: float, bench: Bench) -> None:
    """Refuse before anyone lifts a finger what lies outside any tower in order.

    Too high is what not even the fastest fall allowed (`fall.highest_a_m_s2`) could give from the
    top; too low what even the slowest (`fall.lowest_a_m_s2`) gives from the lowest height.

    Raises:
        RigError: naming the limit.
    """
    travel, fall, mass_kg = bench.tower.travel, bench.tower.fall, bench.tower.carriage.mass_kg
    least_j = mass_kg * fall.lowest_a_m_s2 * travel.min_drop_m
    if not energy_j >= least_j:
        raise RigError(
            f"{energy_j:.4g} J is too little: below {least_j:.3g} J the fall of any tower in order "
            f"is shorter than {travel.min_drop_m * 1e3:.0f} mm, too short to measure well",
            where="energy",
            remedy="ask for more, or mount a lighter carriage and state its mass in bench.toml",
            value=energy_j,
        )
    _require_below_top(energy_j / (mass_kg * fall.highest_a_m_s2), energy_j, bench)


def require_reach(height_m: float, energy_j: float, bench: Bench) -> None:
    """Refuse an energy that this tower cannot give.

    Raises:
        RigError: naming the height needed and the tower's limit.
    """
    _require_below_top(height_m, energy_j, bench)
    travel = bench.tower.travel
    if height_m < travel.min_drop_m:
        raise RigError(
            f"{energy_j:.4g} J is a fall of {height_m * 1e3:.0f} mm; below "
            f"{travel.min_drop_m * 1e3:.0f} mm the speed cannot be measured well",
            where="energy",
            remedy="ask for more, or mount a lighter carriage and state its mass in bench.toml",
            value=energy_j,
        )


def _require_below_top(height_m: float, energy_j: float, bench: Bench) -> None:
    top_m = bench.tower.travel.max_drop_m
    if height_m > top_m:
        fall = f"{height_m:.3f} m" if height_m < HIGH_M else f"more than {HIGH_M:g} m"
        raise RigError(
            f"{energy_j:.4g} J needs a fall of {fall}; this tower reaches {top_m:g} m",
            where="energy",
            remedy="ask for less, or mount a heavier carriage and state its mass in bench.toml",
            value=energy_j,
        )


def settings(
    bench: Bench, fall: Mapping[str, Any], after: Outcome | None, asked: Mapping[str, Any]
) -> dict[str, Any]:
    """Everything the measurement of a drop needs beside the raw frames."""
    return {
        "tower": bench.tower.model_dump(mode="json"),
        "site": bench.site.model_dump(mode="json"),
        "contact": fall["contact"],
        "contact_after": after,
        "time_base": fall["time_base"],
        "asked": dict(asked),
        "rule": RULE,
    }


CLAMPED = {"the edge": "gloves off, hands out, pin out; ", "the blank": "hands out, pin out; "}
"""What comes between clamping and the hand lever, by what is clamped."""
STANDS = "wait until the carriage is still, open the guard if it is closed"


def fall(
    trial: str,
    height_m: float,
    bench: Bench,
    rests_on: str = "the edge",
    clamped: bool = True,
    known: Outcome | None = None,
) -> Passage[dict[str, Any]]:
    """Contact zero, height, checks, permit, release. The outcome also holds `contact`.

    Contact is found again as often as it turns out wrong: the board was restarted (its counts
    begin anew), the height reads lower than at contact, or the person says so.

    Args:
        trial: its name.
        height_m: of the fall.
        bench: the rig.
        rests_on: what the striker meets, a key of `CLAMPED`.
        clamped: just now, so that the pin is in still.
        known: contact found before on the same thing; left out, it is found now.
    """
    count_m = bench.tower.wire.count_m
    band = bench.tower.travel.release_band_m / count_m
    why, first = "", CLAMPED[rests_on] if clamped else ""
    contact, before = known, f"{STANDS[0].upper()}{STANDS[1:]}. " if known else ""
    while True:
        contact = contact or (
            yield Touch(
                f"Contact: {first}{STANDS}. Lower the carriage by the hand lever until the striker "
                f"rests on {rests_on}. Hands off.",
                hazards=("falling_mass:out", "pinch"),
            )
        )
        first = ""
        target = contact["counts"] + height_m / count_m
        raised = yield Raise(
            f"{before}Raise the carriage to {height_m * 1e3:.1f} mm above contact and hang it on "
            "the hook; "
            "press the hand lever once so that the catch is free. Hands off.",
            target_counts=target,
            low_counts=target - band,
            high_counts=target + band,
            zero_counts=contact["counts"],
            count_m=count_m,
            boot=contact["boot"],
            renewed=why == "READS_LOWER",
        )
        why = raised["why"]
        if why == "FELL":
            outcome: Outcome = {"raw_id": None, "ended": why, "released": False, "boot": None,
                                "time_base": None}  # fmt: skip
            break
        if not why:
            outcome = yield from _released(trial, target, band, contact)
            why = outcome["ended"]
            if why not in AGAIN:
                break
        yield Tell(f"{AGAIN[why]} Find contact again.")
        contact, before = None, ""
    return {**outcome, "contact": contact, "reasons": _line_reasons(outcome, contact)}


def _released(trial: str, target: float, band: float, contact: Outcome) -> Passage[Outcome]:
    """Guard, checks, permit, fall."""
    yield Do(
        "Hands and head out. Close the guard; nobody in line with the edge.",
        hazards=("falling_mass:out", "chips"),
    )
    yield Ready("Checking guard, e-stop and interlock.")
    return (
        yield Release(
            f"{trial}: wait for PRESS NOW.",
            trial=trial,
            low_counts=round(target - band),
            high_counts=round(target + band),
            boot=contact["boot"],
            zero_counts=contact["counts"],
        )
    )


def _line_reasons(outcome: Outcome, contact: Outcome) -> list[Reason]:
    """What the interlock and the line say against this drop."""
    if outcome["raw_id"] is None:
        return []
    found = []
    if outcome["ended"] == "UNSEEN":
        text = "the end of the flight was not seen: the line to the board was lost"
        found.append(Reason("flight_unseen", text))
    elif outcome["ended"] not in ("REVERSED", "FLIGHT_TIMEOUT"):
        why = outcome["ended"].lower().replace("_", " ")
        found.append(Reason("interlock_ended", f"the interlock ended the flight: {why}"))
    if outcome["boot"] != contact["boot"]:
        text = "the board was restarted between contact and release"
        found.append(Reason("board_restarted", text))
    return found


def unrecorded(fallen: Outcome) -> str:
    """Why a fall has no record, in words."""
    words = {
        "INTERRUPTED": "the program was stopped after the permit",
        "UNSEEN": "the line to the board was lost",
        "DOWN": "the carriage came down before the permit",
        "FELL": "the carriage fell while it was raised",
    }
    ended = str(fallen["ended"])
    return words.get(ended, ended.lower().replace("_", " "))


def touch_again(fallen: Mapping[str, Any]) -> Passage[Outcome | None]:
    """Contact after the drop, to see a slip; None when the board's counts began anew."""
    after = yield Touch(
        "Wait until the carriage is still. Open the guard. Lower it by the hand lever onto the "
        "edge again. Hands off.",
        hazards=("falling_mass:out", "pinch"),
    )
    return after if after["boot"] == fallen["boot"] else None


def told(trial: str, result: Mapping[str, Any], reasons: list[str]) -> str:
    """The drop in a few plain lines."""
    lines = [f"{trial}: " + ("VALID" if not reasons else "NOT VALID: " + "; ".join(reasons))]
    names = {
        "impact_energy": "impact energy",
        "impact_speed": "impact speed",
        "rebound_speed": "rebound speed",
        "energy_not_returned": "not returned (at most this went into the edge)",
        "second_strike_energy": "second strike",
        "total_energy": "all blows together",
    }
    for key, words in names.items():
        if key in result["measurands"]:
            m = from_dict(result["measurands"][key])
            lines.append(f"  {words}: {stated(m.value, m.U, m.unit)}")
    if "rise_unlike_fall" in result["figures"]:
        lines.append(f"  {UNLIKE}")
    if result["caught"]:
        lines.append("  the catch held the carriage after its rebound")
    return "\n".join(lines)


UNLIKE = (
    "after the strike: not stated. The carriage's rise is no free flight of this tower: does the "
    "bench give (bolt it to the floor), can the wire's reel not follow?"
)


def figures(result: Mapping[str, Any]) -> dict[str, Any]:
    """What the verdict tells of a drop: an energy only when there is one."""
    energy = result["measurands"].get("impact_energy")
    second = result["measurands"].get("second_strike_energy")
    return {
        "energy_j": energy and energy["value"],
        "energy_U_j": energy and energy["U"],
        "second_strike_j": second and second["value"],
        "caught": result["caught"],
    }
