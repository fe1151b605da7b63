"""What to type to go on with an unfinished run, or to begin one like it."""

import os
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from rig.commands import typed

if TYPE_CHECKING:
    from rig.logbook.records import Run

CALIBRATE = "calibrate_"


def command(run: "Run", logbook: Path) -> str:
    """What to type to go on with a run."""
    return _typed(run, logbook, "--resume")


def anew(run: "Run", logbook: Path, settings: Mapping[str, str]) -> str:
    """What to type for another run of the same procedure on the same kind of rig."""
    return _typed(run, logbook, *(f"{name}={value}" for name, value in settings.items()))


def _typed(run: "Run", logbook: Path, *more: str) -> str:
    virtual = ("--virtual",) if run.versions.get("device") == "virtual" else ()
    if run.procedure.startswith(CALIBRATE):
        channel = run.procedure.removeprefix(CALIBRATE)
        return typed("bladerig", "calibrate", channel, "--logbook", logbook, *more, *virtual)
    return typed("bladerig", "run", address(run), logbook, *more, *virtual)


def address(run: "Run") -> str:
    """What to type for the run's procedure: its name, or the path of somebody's own script."""
    path = run.versions.get("script_path")
    if not path:
        return run.procedure
    near = os.path.relpath(path)
    return str(path) if near.startswith("..") else f".{os.sep}{near}"
