"""Going on with an unfinished run: what it was begun with, and what may not differ from that."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rig.errors import RigError
from rig.guide.again import command

if TYPE_CHECKING:
    from rig.bench import Bench
    from rig.guide.script import Script
    from rig.logbook.records import Run


def told(run: "Run") -> str:
    """`run 3 (drop_impact energy=5 J, specimen=K3) on the virtual rig`, without the defaults."""
    from rig.guide.device import WORDS
    from rig.report.asked import unlike_defaults

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


def changed(began: "Bench", now: "Bench") -> list[str]:
    """Keys of the bench that differ from those at a run's beginning (certificates aside)."""
    aside = ["certificates.", "tower.carriage.weighed", "tower.carriage.practice"]
    if any(_certified(bench) for bench in (began, now)):  # its scale then is the certificate's
        aside += ["tower.wire.count_m", "tower.wire.u_count_relative", "tower.wire.source"]
    old, new = (dict(_flat(bench.model_dump(mode="json"))) for bench in (began, now))
    return [
        key
        for key in sorted(old.keys() | new.keys())
        if old.get(key) != new.get(key) and not key.startswith(tuple(aside))
    ]


def _certified(bench: "Bench") -> bool:
    height = bench.certificates.get("height")
    return height is not None and not height["against"]


def _flat(table: Mapping[str, Any], prefix: str = "") -> list[tuple[str, Any]]:
    found = []
    for key, value in table.items():
        if isinstance(value, dict):
            found += _flat(value, f"{prefix}{key}.")
        else:
            found.append((prefix + key, value))
    return found
