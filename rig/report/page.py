"""The page of one run: self-contained HTML that a sceptic can check."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from rig import __version__
from rig.report.gather import RunView, Trial, gather

WORDS = {
    "impact_energy": "impact energy",
    "impact_speed": "impact speed",
    "nominal_energy": "nominal energy m g h (for comparison only)",
    "release_height": "release height",
    "fall_acceleration": "acceleration of the fall at contact",
    "gate_speed": "impact speed by the light gate (a check)",
    "rebound_speed": "rebound speed",
    "rebound_energy": "rebound energy",
    "restitution": "restitution",
    "energy_not_returned": "energy not returned (upper bound of what the edge took)",
    "second_strike_speed": "speed of the second strike",
    "second_strike_energy": "energy of the second strike",
    "total_energy": "energy of all strikes together",
}


def content(path: Path, run_id: int | None) -> dict[str, Any]:
    """What the page says, for programs."""
    view = gather(path, run_id)
    return {
        "run_id": view.run.run_id,
        "procedure": view.run.procedure,
        "outcome": view.run.outcome,
        "verdict": verdict(view),
        "drops": [_told(trial) for trial in view.tested],
        "unrecorded": view.unrecorded,
        "fingerprint": view.fingerprint,
        "logbook_id": view.logbook_id,
    }


def _told(trial: Trial) -> dict[str, Any]:
    return {
        "trial": trial.name,
        "valid": trial.valid,
        "reasons": trial.reasons,
        "measurands": trial.result["measurands"],
        "caught": trial.result["caught"],
        "damage": trial.damage,
        "raw_sha256": trial.raw_sha256,
    }


def verdict(view: RunView) -> str:
    """The run in one or two sentences."""
    tested, valid = view.tested, [trial for trial in view.tested if trial.valid]
    made = len(tested) + len(view.unrecorded)
    if not made:
        return "No drop on a specimen was measured in this run."
    head = f"{len(valid)} of {made} drops {'is' if len(valid) == 1 else 'are'} valid."
    energies = [trial.result["measurands"]["impact_energy"] for trial in valid]
    if not energies:
        return head + " No energy can be stated."
    each = ", ".join(f"{quantity(energy)}" for energy in energies)
    return f"{head} Impact energy of the valid drops: {each}."


def quantity(measurand: dict[str, Any]) -> str:
    """Value and expanded uncertainty, both to the uncertainty's second digit."""
    from math import floor, log10

    value, expanded, unit = measurand["value"], measurand["U"], measurand["unit"]
    places = max(0, 1 - floor(log10(expanded))) if expanded > 0 else 3
    return f"{value:.{places}f} ± {expanded:.{places}f} {unit}".replace("m/s2", "m/s²").strip()


def shown(measurands: dict[str, Any]) -> dict[str, Any]:
    """The measurands in the order of `WORDS` (the journal keeps them sorted by name)."""
    return {name: measurands[name] for name in WORDS if name in measurands}


def write(path: Path, run_id: int | None, out: Path | None) -> Path:
    """Write the page of a run; gives its path.

    Raises:
        RigError: nothing to report.
        OSError: the file cannot be written.
    """
    from rig.report import figures

    view = gather(path, run_id)
    environment = Environment(
        loader=PackageLoader("rig.report", "."), undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, autoescape=select_autoescape(default=True, default_for_string=True),
    )  # fmt: skip
    environment.filters["quantity"] = quantity
    limit = view.run.versions["bench"]["tower"]["fall"]["a_change_limit"]
    text = environment.get_template("run.html").render(
        view=view,
        verdict=verdict(view),
        words=WORDS,
        shown=shown,
        pictures={trial.name: figures.drop(trial) for trial in view.tested},
        chart=figures.chart(view.chart, limit),
        version=__version__,
        written=datetime.now(UTC),
    )
    target = out or path.with_name(f"{path.stem}-run-{view.run.run_id}.html")
    target.write_text(text, encoding="utf-8")
    return target
