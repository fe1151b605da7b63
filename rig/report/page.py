"""The page of one run: self-contained HTML that a sceptic can check."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from rig import __version__
from rig.commands import typed
from rig.guide.device import WORDS
from rig.report import certificate, figures
from rig.report.cutting import EDGE_LIFE, SHARPNESS
from rig.report.gather import RunView, Trial, gather
from rig.report.hardness import HARDNESS
from rig.report.impact import IMPACT
from rig.report.ink import degrees
from rig.report.ink import quantity as quantity
from rig.report.prying import PRY
from rig.report.sections import Section
from rig.report.staircase import STAIRCASE
from rig.report.twisting import TWIST
from rig.report.writing import whole

ROWS = {
    "time_base": "board's clock (true seconds a board second)",
    "scale": "height scale (metres a count)",
    "mass": "mass of the carriage",
    "fit": "speed by the fit of the fall",
    "contact": "height of contact",
}
SECTIONS = {
    "drop": IMPACT,
    "pry": PRY,
    "hardness": HARDNESS,
    "twist": TWIST,
    "staircase": STAIRCASE,
    "edge_life": EDGE_LIFE,
    "sharpness": SHARPNESS,
}


def content(path: Path, run_id: int | None) -> dict[str, Any]:
    """What the page says, for programs."""
    view = gather(path, run_id)
    return {
        "run_id": view.run.run_id,
        "procedure": view.run.procedure,
        "outcome": view.run.outcome,
        "rig": view.run.versions["device"],
        "warning": view.warning,
        "verdict": verdict(view),
        "trials": [_told(trial) for trial in view.tested],
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
        "indication": trial.indication,
        "figures": trial.result.get("figures", {}),
        "damage": trial.damage,
        "raw_sha256": trial.raw_sha256,
    }


def verdict(view: RunView) -> str:
    """The run in one or two sentences."""
    section = SECTIONS.get(view.kind)
    valid, made = [trial for trial in view.tested if trial.valid], len(view.made)
    if not made:
        return "Nothing was measured on a specimen in this run."
    noun = section.noun if section else "trial"
    head = f"{len(valid)} of {made} {noun}s {'is' if len(valid) == 1 else 'are'} valid."
    each = [] if section is None else [said for t in valid if (said := section.said(t))]
    if section is None or not each:
        return head + " No value can be stated."
    told = f"{head} {section.words[section.main].capitalize()}: {', '.join(each)}."
    if any(trial.indication for trial in valid):
        told += " An indication only: see below what it lacks."
    return told


def shown(section: Section, measurands: dict[str, Any]) -> dict[str, Any]:
    """The measurands in the order of the section's words (the journal keeps them by name)."""
    return {name: measurands[name] for name in section.words if name in measurands}


def row_name(name: str) -> str:
    """What a quantity of a budget is called."""
    return ROWS.get(name, name.replace("_", " "))


def write(path: Path, run_id: int | None, out: Path | None) -> Path:
    """Write the page of a run; gives its path.

    Raises:
        RigError: nothing to report.
        OSError: the file cannot be written.
    """
    view = gather(path, run_id)
    if view.run.procedure in certificate.TITLES:
        return certificate.write(path, view.run.run_id, out)
    environment = Environment(
        loader=PackageLoader("rig.report", "."), undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, autoescape=select_autoescape(default=True, default_for_string=True),
    )  # fmt: skip
    environment.filters |= {"quantity": quantity, "degrees": degrees}
    section = SECTIONS.get(view.kind)
    limit = view.run.versions["bench"]["tower"]["fall"]["a_change_limit"]
    pictures = {t.name: section.picture(t) for t in view.tested} if section else {}
    text = environment.get_template("run.html").render(
        view=view,
        section=section,
        verdict=verdict(view),
        shown=shown,
        row_name=row_name,
        rig=WORDS.get(view.run.versions["device"], view.run.versions["device"]),
        asked=view.run.versions.get("asked", view.run.params),
        commands=_commands(view),
        pictures=pictures,
        chart=figures.chart(view.chart, limit) if view.kind == "drop" else None,
        version=__version__,
        written=datetime.now(UTC),
    )
    return whole(out or path.with_name(f"{path.stem}-run-{view.run.run_id}.html"), text)


def _commands(view: RunView) -> list[str]:
    """What checks the page against the logbook."""
    name = view.path.name
    return [
        typed("bladerig", "audit", name, "--printed", view.fingerprint),
        typed("bladerig", "recompute", name),
    ]
