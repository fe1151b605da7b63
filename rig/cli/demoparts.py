"""The demonstration's single tests, each beside the virtual rig's truth."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rig.session.rehearsal import Rehearsal

Say = Callable[[str], None]

SPECIMEN, ENERGY, DROPS = "K3", "5 J", 3
JAMMED = 2  # at this drop the catch sticks, so that a second strike is there to be found
PRIED = ("K3", "C2")  # one tip snaps, the other bends
TWISTED, DULLED = "K3", "K3"
MEDIA = {"lot": ["virtual"], "media_thickness": ["4 mm"]}
PROBES = {"first": "10", "ratio": "1.15"}
SECTION = {"thickness": ["1.2 mm"], "width": ["8 mm"], "section_at": ["0 mm"]}


def impact(rig: "Rehearsal", say: Say) -> list[dict[str, Any]]:
    """A whole impact test, every text shown; its drops."""

    def watch(text: str) -> None:
        if text.startswith("Drop "):
            rig.tower.fault("catch_jammed", on=text.startswith(f"Drop {JAMMED}:"))
        say(text)

    say(f"\nDrop-weight impact: blade {SPECIMEN}, {ENERGY}, {DROPS} valid drops\n")
    _, outcome = rig.run("drop_impact", watch, energy=ENERGY, specimen=SPECIMEN, drops=str(DROPS))
    truth = rig.tower.truth[len(rig.tower.truth) - len(outcome["drops"]) :]
    return [_drop(*pair) for pair in zip(outcome["drops"], truth, strict=True)]


def _drop(drop: dict[str, Any], truth: Any) -> dict[str, Any]:
    second = truth.second
    told = ("trial", "valid", "reasons", "energy_j", "energy_U_j", "second_strike_j", "caught")
    return {
        **{key: drop[key] for key in told},
        "true_energy_j": truth.impact_energy_j,
        "true_second_strike_j": second.energy_j if second else None,
        "truly_caught": truth.caught,
    }


def pry(rig: "Rehearsal", specimen: str) -> dict[str, Any]:
    """One tip pried."""
    _, outcome = rig.run("pry_to_failure", _quiet, SECTION, specimen=specimen)
    trial, truth = outcome["trials"][-1], rig.jig.truth[-1]
    told = ("trial", "kind", "valid", "reasons", "censored", "peak_torque_nm", "peak_torque_U_nm")
    return {
        **{key: trial[key] for key in told},
        "true_peak_torque_nm": truth.peak_nm,
        "true_kind": truth.kind.value,
    }


def twist(rig: "Rehearsal") -> dict[str, Any]:
    """One edge twisted."""
    _, trial = rig.run("edge_twist", _quiet, specimen=TWISTED)
    truth = rig.jig.twists[-1]
    told = ("trial", "valid", "reasons", "peak_torque_nm", "peak_torque_U_nm")
    return {
        **{key: trial[key] for key in told},
        "true_peak_torque_nm": max(*truth.right_nm, *truth.left_nm),
    }


def edge_life(rig: "Rehearsal") -> dict[str, Any]:
    """One edge cut dull."""
    true_cuts = rig.true_life_cuts(DULLED)
    _, trial = rig.run("cuts_to_dull", _quiet, MEDIA, specimen=DULLED, **PROBES)
    told = ("trial", "valid", "reasons", "life", "counts")
    return {**{key: trial[key] for key in told}, "true_life_cuts": true_cuts}


def _quiet(_: str) -> None:
    pass


def lines(found: dict[str, Any]) -> list[str]:
    """Everything beside its truth, for people."""
    told = []
    for drop in found["drops"]:
        told.append(_beside(drop["trial"], drop, "energy", "J"))
        if drop["second_strike_j"] is not None:
            true = drop["true_second_strike_j"]
            told.append(f"    second strike {drop['second_strike_j']:.3f} J, true {true:.3f} J")
        elif drop["caught"]:
            told.append("    caught after its rebound" + ", as it truly was" * drop["truly_caught"])
    for one in found["pries"]:
        told.append(_beside(f"{one['trial']}: {one['kind']}", one, "peak_torque", "N·m"))
    told.append(_beside(found["twist"]["trial"], found["twist"], "peak_torque", "N·m"))
    life = found["edge_life"]
    low, high = life["life"]["last_pass_cuts"], life["life"]["first_fail_cuts"]
    told.append(
        f"  {life['trial']}: more than {low:g}, at most {high:g} cuts, true "
        f"{life['true_life_cuts']:.0f} cuts, {'valid' if life['valid'] else 'NOT VALID'}"
    )
    return told


def _beside(name: str, one: dict[str, Any], what: str, unit: str) -> str:
    key = {"J": "j", "N·m": "nm"}[unit]
    value, expanded, true = (
        one[f"{what}_{key}"], one[f"{what}_U_{key}"], one[f"true_{what}_{key}"]
    )  # fmt: skip
    verdict = "valid" if one["valid"] else "NOT VALID"
    return f"  {name}: {value:.3f} ± {expanded:.3f} {unit}, true {true:.3f} {unit}, {verdict}"
