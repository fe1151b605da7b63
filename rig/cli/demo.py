"""`bladerig demo`: the whole job on the virtual rig, measured beside the truth."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli import out_paths

if TYPE_CHECKING:
    from rig.bench import Bench

Say = Callable[[str], None]


@click.command()
@click.option(
    "--out", type=click.Path(path_type=Path), default=Path("demo-out"), show_default=True,
    help="Folder for logbooks and reports.",
)  # fmt: skip
@click.option(
    "--seed",
    type=click.IntRange(0, 2**32 - 1),
    default=1,
    show_default=True,
    help="Which virtual rig to draw.",
)
@click.option("--quick", is_flag=True, help="Leave the whole study out.")
@click.option("--json", "as_json", is_flag=True, help="For programs.")
def demo(out: Path, seed: int, quick: bool, as_json: bool) -> None:
    """Calibrate, drop, pry, twist, cut, then a whole blind study: no hardware, a minute or two.

    The virtual rig's true values are drawn from the bench's uncertainties. The measurement never
    sees them; they are printed beside what was measured. The study has three groups of blades,
    of which one is truly tougher, and none cuts longer than the others.

    \b
    Examples:
      bladerig demo
      bladerig demo --quick --seed 7
    """
    from rig import bench as benches

    out_paths.require_folder(out)
    out.mkdir(parents=True, exist_ok=True)
    say: Say = (lambda _: None) if as_json else click.echo
    bench = benches.practising(benches.load(None))
    found = _single_tests(out, bench, seed, say)
    if not as_json:
        click.echo("\nMeasured beside the virtual rig's truth (the measurement never saw it):")
        _print(found)
    if not quick:
        found["study"] = _study(out, bench, seed, say, Path(found["logbook"]))
    if as_json:
        click.echo(json.dumps(found))
    elif not quick:
        _print_study(found["study"])


def _single_tests(out: Path, bench: "Bench", seed: int, say: Say) -> dict[str, Any]:
    from rig.cli import demoparts as parts
    from rig.logbook.store import Logbook
    from rig.report import page
    from rig.session.rehearsal import Rehearsal, free

    path = free(out / "demo.logbook")
    with Logbook.create(path, title="Demonstration on a virtual rig") as book:
        rig = Rehearsal(bench, book, seed)
        say("Calibrating height, load and angle of a virtual rig ...")
        certificates = rig.calibrate()
        for sentence in certificates:
            say(f"  {sentence}")
        first = len(book.runs())
        drops = parts.impact(rig, say)
        say("Prying tips, twisting an edge, cutting one dull ...")
        pries = [parts.pry(rig, specimen) for specimen in parts.PRIED]
        twist = parts.twist(rig)
        life = parts.edge_life(rig)
        runs = [run.run_id for run in book.runs()][first:]
    reports = [str(page.write(path, run_id, None)) for run_id in runs]
    return {
        "certificates": certificates,
        "drops": drops,
        "pries": pries,
        "twist": twist,
        "edge_life": life,
        "logbook": str(path),
        "run_id": runs[0],
        "report": reports[0],
        "reports": reports,
    }


def _study(out: Path, bench: "Bench", seed: int, say: Say, calibrated: Path) -> dict[str, Any]:
    """On the rig that was calibrated in another logbook: the same seed is the same rig."""
    from rig.cli import demostudy
    from rig.logbook.certificates import certificates
    from rig.logbook.store import Logbook
    from rig.report import studypage
    from rig.session.rehearsal import Rehearsal, free

    path = free(out / "study.logbook")
    say("\nA whole blind study of three groups, every trial on the virtual rig:")
    with Logbook.create(path, title="Demonstration of a study") as book:
        rig = Rehearsal(bench, book, seed, demostudy.group_behind, certificates(calibrated))
        told = demostudy.run(rig, say)
    report, said = studypage.write(path, None)
    return {**told, **said, "logbook": str(path), "report": str(report)}


def _print(found: dict[str, Any]) -> None:
    from rig.cli import demoparts as parts
    from rig.commands import typed

    for line in parts.lines(found):
        click.echo(line)
    click.echo(f"\nLogbook: {found['logbook']}")
    for report in found["reports"]:
        click.echo(f"Report:  {report}")
    click.echo(f"Next:    {typed('bladerig', 'audit', found['logbook'])}")


def _print_study(study: dict[str, Any]) -> None:
    click.echo(f"\nThe study's answers ({study['trials']} trials; by truth, only the blades with "
               "two tempers are tougher, and none cuts longer):")  # fmt: skip
    for one in study["answers"]:
        click.echo(f"  {one['headline']}")
    click.echo(f"\nLogbook: {study['logbook']}\nReport:  {study['report']}; open it in a browser")
