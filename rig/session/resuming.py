"""Going on with an unfinished run: what it was begun with, and what may not differ from that."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from rig.errors import RigError
from rig.guide.resume_command import command

if TYPE_CHECKING:
    from rig.guide.script import Script
    from rig.logbook.records import Run


def told(run: "Run") -> str:
    """`run 3 (drop_impact energy=5 J, specimen=K3) on the virtual rig`, without the defaults."""
    from rig.guide.device import WORDS
    from rig.report.run_settings import unlike_defaults

    asked = ", ".join(f"{name}={value}" for name, value in unlike_defaults(run).items())
    kind = run.versions.get("device", "")
    what = f"{run.procedure} {asked}".strip()
    return f"run {run.run_id} ({what}) on {WORDS.get(kind, kind)}"


def require_same(run: "Run", script: "Script", given: Mapping[str, str], logbook: Path) -> None:
    """Refuse settings other than those a run was begun with; those left out are its own.

    Raises:
        RigError: naming old and new.
    """
    from rig.guide.parameters import read_given

    if run.procedure != script.name:
        raise RigError(
            f"the unfinished run is {told(run)}, not one of {script.name}",
            where=str(logbook),
            remedy=_remedy(run, logbook),
        )
    new = read_given(script.parameters, given)
    other = [name for name, value in new.items() if run.params.get(name) != value]
    if other:
        old = script.shown(run.params)
        wanted = ", ".join(f"{name}={given[name]}" for name in other)
        began = ", ".join(f"{name}={old.get(name, '')}" for name in other)
        raise RigError(
            f"run {run.run_id} is unfinished and was begun with {began}, not {wanted}",
            where=str(logbook),
            remedy=_remedy(run, logbook),
        )


def _remedy(run: "Run", logbook: Path) -> str:
    return f"go on with it: {command(run, logbook)}; or give it up with --abandon 'reason'"
