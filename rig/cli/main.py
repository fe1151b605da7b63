"""The command `bladerig`."""

import click

from rig import __version__
from rig.cli.accidents import withdraw
from rig.cli.audit import audit
from rig.cli.bench import bench
from rig.cli.board import board
from rig.cli.calibrate import calibrate, certificates
from rig.cli.compare import compare
from rig.cli.demo import demo
from rig.cli.records import export, recompute, report, runs
from rig.cli.run import run
from rig.cli.study import study


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, message="bladerig %(version)s")
def cli() -> None:
    """Measured tests on knife edges: guided, recorded, with honest uncertainty.

    \b
    First time, no hardware:   bladerig demo
    At the bench:              bladerig board list
                               bladerig calibrate height
                               bladerig run drop_impact blades.logbook energy=5J specimen=K3
    A whole study:             bladerig study --help
    Afterwards:                bladerig report blades.logbook
                               bladerig audit blades.logbook
    """


for command in (
    demo,
    run,
    runs,
    withdraw,
    report,
    audit,
    recompute,
    export,
    bench,
    board,
    study,
    calibrate,
    certificates,
    compare,
):
    cli.add_command(command)
