"""The page of one run: self-contained HTML that a sceptic can check."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from rig import __version__
from rig.report import certificate, figures
from rig.report.gather import RunView, Trial, gather
from rig.report.hardness import HARDNESS
from rig.report.impact import IMPACT
from rig.report.prying import PRY
from rig.report.sections import Section, quantity
from rig.report.staircase import STAIRCASE

SECTIONS = {"drop": IMPACT, "pry": PRY, "hardness": HARDNESS, "staircase": STAIRCASE}


def content(path: Path, run_id: int | None) -> dict[str, Any]:
    """What the page says, for programs."""
    view = gather(path, run_id)
    return {
        "run_id": view.run.run_id,
        "procedure": view.run.procedure,
        "outcome": view.run.outcome,
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
    tested, valid = view.tested, [trial for trial in view.tested if trial.valid]
    made = len(tested) + len(view.unrecorded)
    if not made:
        return "Nothing was measured on a specimen in this run."
    noun = section.noun if section else "trial"
    head = f"{len(valid)} of {made} {noun}s {'is' if len(valid) == 1 else 'are'} valid."
    each = [] if section is None else [said for t in valid if (said := section.said(t))]
    if section is None or not each:
        return head + " No value can be stated."
    told = f"{head} {section.words[section.main].capitalize()}: {', '.join(each)}."
    if any(trial.indication for trial in valid):
        told += " An indication only: see below what its calibration lacks."
    return told


def shown(section: Section, measurands: dict[str, Any]) -> dict[str, Any]:
    """The measurands in the order of the section's words (the journal keeps them by name)."""
    return {name: measurands[name] for name in section.words if name in measurands}


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
    environment.filters["quantity"] = quantity
    section = SECTIONS.get(view.kind)
    limit = view.run.versions["bench"]["tower"]["fall"]["a_change_limit"]
    pictures = {t.name: section.picture(t) for t in view.tested} if section else {}
    text = environment.get_template("run.html").render(
        view=view,
        section=section,
        verdict=verdict(view),
        shown=shown,
        pictures=pictures,
        chart=figures.chart(view.chart, limit) if view.kind == "drop" else None,
        version=__version__,
        written=datetime.now(UTC),
    )
    target = out or path.with_name(f"{path.stem}-run-{view.run.run_id}.html")
    target.write_text(text, encoding="utf-8")
    return target
