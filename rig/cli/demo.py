"""`bladerig demo`: the whole job on the virtual rig, measured beside the truth."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from rig.virtual.plant import Tower

SPECIMEN, ENERGY, DROPS = "K3", "5 J", 3
JAMMED = 2  # at this drop the catch sticks, so that a second strike is there to be found


@click.command()
@click.option(
    "--out", type=click.Path(path_type=Path), default=Path("demo-out"), show_default=True,
    help="Folder for logbook and report.",
)  # fmt: skip
@click.option("--seed", type=int, default=1, show_default=True, help="Which virtual rig to draw.")
@click.option("--json", "as_json", is_flag=True, help="For programs.")
def demo(out: Path, seed: int, as_json: bool) -> None:
    """A complete drop-weight test on the virtual rig: no hardware, a few seconds.

    The virtual rig's true values are drawn from the bench's uncertainties. The measurement never
    sees them; they are printed beside what was measured.

    \b
    Example:  bladerig demo --seed 7
    """
    from rig import bench as benches
    from rig.cli.devices import virtual_device
    from rig.guide import script as scripts
    from rig.guide.parameters import read_all
    from rig.guide.runner import Runner
    from rig.logbook.store import Logbook
    from rig.report import page

    out.mkdir(parents=True, exist_ok=True)
    path = _free(out / "impact-demo.logbook")
    bench = benches.load(None)
    device, tower, person = virtual_device(bench, seed)
    script = scripts.load("drop_impact")
    given = {"energy": ENERGY, "specimen": SPECIMEN, "drops": str(DROPS)}
    say: Callable[[str], None] = (lambda _: None) if as_json else click.echo
    operator = _person(tower, person.damage, say)
    say(f"{script.title} on a virtual rig: blade {SPECIMEN}, {ENERGY}, {DROPS} valid drops\n")
    with Logbook.create(path, title="Demonstration on a virtual rig") as book:
        run_id, outcome = Runner(book, bench, device, operator).start(
            script, read_all(script.parameters, given)
        )
    report = page.write(path, run_id, None)
    truth = tower.truth[len(tower.truth) - len(outcome["drops"]) :]
    drops = [_beside(*pair) for pair in zip(outcome["drops"], truth, strict=True)]
    found = {"drops": drops, "logbook": str(path), "report": str(report), "run_id": run_id}
    if as_json:
        click.echo(json.dumps(found))
    else:
        _print(found)


def _free(path: Path) -> Path:
    """`path`, or the first of its numbered names that is not taken: nothing is overwritten."""
    number, free = 1, path
    while free.exists():
        number += 1
        free = path.with_stem(f"{path.stem}-{number}")
    return free


def _person(
    tower: "Tower", damage: Callable[[], dict[str, str]], say: Callable[[str], None]
) -> Any:
    from rig.guide.operator import ScriptedOperator
    from rig.guide.steps import Ask

    class Demonstrator(ScriptedOperator):
        """Looks at the virtual edge when asked, and lets the catch stick at one drop."""

        def ask(self, step: Ask) -> Callable[[], str | None]:
            seen = damage()
            if step.key in seen:
                self.tell(f"{step.text}: {seen[step.key]}")
                return lambda: seen[step.key]
            return super().ask(step)

    def watch(text: str) -> None:
        if text.startswith("Drop "):
            tower.fault("catch_jammed", on=text.startswith(f"Drop {JAMMED}:"))
        say(text)

    return Demonstrator({}, watch)


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
    click.echo(f"\nLogbook: {found['logbook']}\nReport:  {found['report']}")
    click.echo(f"Next:    bladerig audit {found['logbook']}")
