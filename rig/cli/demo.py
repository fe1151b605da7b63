"""`bladerig demo`: the whole job on the virtual rig, measured beside the truth."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from rig.cli.rehearsal import Rehearsal

SPECIMEN, ENERGY, DROPS = "K3", "5 J", 3
JAMMED = 2  # at this drop the catch sticks, so that a second strike is there to be found
PRIED = ("K3", "C2")  # one tip snaps, the other bends
SECTION = {"thickness": ["1.2 mm"], "width": ["8 mm"], "section_at": ["0 mm"]}


@click.command()
@click.option(
    "--out", type=click.Path(path_type=Path), default=Path("demo-out"), show_default=True,
    help="Folder for logbook and report.",
)  # fmt: skip
@click.option("--seed", type=int, default=1, show_default=True, help="Which virtual rig to draw.")
@click.option("--json", "as_json", is_flag=True, help="For programs.")
def demo(out: Path, seed: int, as_json: bool) -> None:
    """Calibrate, drop, pry and twist on the virtual rig: no hardware, half a minute.

    The virtual rig's true values are drawn from the bench's uncertainties. The measurement never
    sees them; they are printed beside what was measured.

    \b
    Example:  bladerig demo --seed 7
    """
    from rig import bench as benches
    from rig.cli.rehearsal import Rehearsal, free
    from rig.logbook.store import Logbook
    from rig.report import page

    out.mkdir(parents=True, exist_ok=True)
    path = free(out / "demo.logbook")
    say: Callable[[str], None] = (lambda _: None) if as_json else click.echo
    with Logbook.create(path, title="Demonstration on a virtual rig") as book:
        rig = Rehearsal(benches.load(None), book, seed)
        say("Calibrating height, load and angle of a virtual rig ...")
        certificates = rig.calibrate()
        for sentence in certificates:
            say(f"  {sentence}")
        found: dict[str, Any] = {"certificates": certificates, **_impact(rig, say)}
        say("Prying tips ...")
        found["pries"] = [_pry(rig, specimen) for specimen in PRIED]
        found["logbook"] = str(path)
        runs = [run.run_id for run in book.runs()][-1 - len(PRIED) :]
    reports = [str(page.write(path, run_id, None)) for run_id in runs]
    found |= {"report": reports[0], "reports": reports}
    if as_json:
        click.echo(json.dumps(found))
    else:
        _print(found)


def _impact(rig: "Rehearsal", say: Callable[[str], None]) -> dict[str, Any]:
    """A whole impact test, every text shown."""

    def watch(text: str) -> None:
        if text.startswith("Drop "):
            rig.tower.fault("catch_jammed", on=text.startswith(f"Drop {JAMMED}:"))
        say(text)

    say(f"\nDrop-weight impact: blade {SPECIMEN}, {ENERGY}, {DROPS} valid drops\n")
    run_id, outcome = rig.run(
        "drop_impact", watch, energy=ENERGY, specimen=SPECIMEN, drops=str(DROPS)
    )
    truth = rig.tower.truth[len(rig.tower.truth) - len(outcome["drops"]) :]
    drops = [_beside(*pair) for pair in zip(outcome["drops"], truth, strict=True)]
    return {"drops": drops, "run_id": run_id}


def _pry(rig: "Rehearsal", specimen: str) -> dict[str, Any]:
    """One tip pried, beside its truth."""
    _, outcome = rig.run("pry_to_failure", lambda _: None, SECTION, specimen=specimen)
    trial, truth = outcome["trials"][-1], rig.jig.truth[-1]
    told = ("trial", "kind", "valid", "reasons", "censored", "peak_torque_nm", "peak_torque_U_nm")
    return {
        **{key: trial[key] for key in told},
        "true_peak_torque_nm": truth.peak_nm,
        "true_kind": truth.kind.value,
    }


def _beside(drop: dict[str, Any], truth: Any) -> dict[str, Any]:
    second = truth.second
    return {
        "trial": drop["trial"],
        "valid": drop["valid"],
        "reasons": drop["reasons"],
        "energy_j": drop["energy_j"],
        "energy_U_j": drop["energy_U_j"],
        "true_energy_j": truth.impact_energy_j,
        "second_strike_j": drop["second_strike_j"],
        "true_second_strike_j": second.energy_j if second else None,
        "caught": drop["caught"],
        "truly_caught": truth.caught,
    }


def _print(found: dict[str, Any]) -> None:
    click.echo("\nMeasured beside the virtual rig's truth (the measurement never saw it):")
    for drop in found["drops"]:
        verdict = "valid" if drop["valid"] else "NOT VALID"
        click.echo(
            f"  {drop['trial']}: {drop['energy_j']:.3f} ± {drop['energy_U_j']:.3f} J, "
            f"true {drop['true_energy_j']:.3f} J, {verdict}"
        )
        if drop["second_strike_j"] is not None:
            true = drop["true_second_strike_j"]
            click.echo(f"    second strike {drop['second_strike_j']:.3f} J, true {true:.3f} J")
        elif drop["caught"]:
            click.echo(
                "    caught after its rebound" + (", as it truly was" * drop["truly_caught"])
            )
    for pry in found["pries"]:
        verdict = "valid" if pry["valid"] else "NOT VALID"
        click.echo(
            f"  {pry['trial']}: {pry['kind']}, {pry['peak_torque_nm']:.3f} ± "
            f"{pry['peak_torque_U_nm']:.3f} N·m, true {pry['true_peak_torque_nm']:.3f} N·m, "
            f"{verdict}"
        )
    click.echo(f"\nLogbook: {found['logbook']}")
    for report in found["reports"]:
        click.echo(f"Report:  {report}")
    click.echo(f"Next:    bladerig audit {found['logbook']}")
