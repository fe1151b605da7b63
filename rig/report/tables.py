"""Results and traces as CSV tables, with one table that explains every column."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from rig.board.samples import capture
from rig.board.wire import TICK_HZ, Kind
from rig.guide.kinds import ON_SPECIMEN
from rig.guide.verdict import verdicts
from rig.logbook.journal import STEP
from rig.logbook.store import Logbook
from rig.report.soundness import warning
from rig.study.register.accidents import withdrawn

COLUMNS = {
    "trials.csv": {
        "run_id": "number of the run",
        "trial": "name of the trial",
        "rig": "'virtual' is practice on the virtual rig; 'port' a real board",
        "at_utc": "when its verdict was recorded, UTC",
        "procedure": "procedure of the run",
        "specimen": "code of the blade",
        "valid": "True when nothing stands against the trial, on the line and at the rig too",
        "reasons": "everything that stands against it, separated by '; '",
        "indication": "why its numbers are an indication only; empty when they count",
        "censored": "'right' when a value is only a bound: at least that much",
        "asked_energy_j": "impact energy asked for, J; empty for other tests",
        "damage": "damage as entered: none, roll, chip, crack",
        "damage_depth_m": "its depth, m",
        "damage_width_m": "its width along the edge, m",
        "damage_u_m": "standard uncertainty of depth and width, m; of 0 too",
        "damage_smallest_m": "of none: the smallest damage that would have been seen, m",
        "result_id": "number of its result; empty when nothing was recorded",
        "withdrawn": "when and why it was taken back afterwards; empty when it was not",
        "warning": "empty for a sound logbook, else what the audit found",
    },
    "results.csv": {
        "result_id": "number of the result in the logbook",
        "run_id": "number of the run",
        "trial": "name of the trial",
        "rig": "'virtual' is practice on the virtual rig; 'port' a real board",
        "measurand": "what was measured",
        "value": "best estimate, in `unit`",
        "u": "standard uncertainty, in `unit`",
        "U": "expanded uncertainty, about 95 %, in `unit`",
        "k": "coverage factor, U / u",
        "dof": "effective degrees of freedom; empty means unlimited",
        "unit": "SI unit",
        "valid": "True when no reason stands against the measurement; see trials.csv for the trial",
        "reasons": "what stands against it, separated by '; '",
        "superseded_by": "number of the result that took its place; empty for a current one",
    },
    "curves.csv": {
        "raw_id": "number of the raw frames in the logbook",
        "run_id": "number of the run",
        "rig": "'virtual' is practice on the virtual rig; 'port' a real board",
        "trial": "name of the trial, a pry or a twist",
        "nominal_s": "nominal seconds from the first reading of the cell",
        "angle_rad": "arm angle, rad, positive to the side pulled to; of a twist to the right",
        "torque_nm": "torque of the tip or the edge, N m: less what the arm alone takes",
        "cell_torque_nm": "torque by the cell, N m, with what the arm alone takes",
    },
    "traces.csv": {
        "raw_id": "number of the raw frames in the logbook",
        "run_id": "number of the run",
        "rig": "'virtual' is practice on the virtual rig; 'port' a real board",
        "trial": "name of the trial",
        "ticks": "MCU clock, nominally 0.5 us a tick",
        "nominal_s": "the same in nominal seconds (multiply by the time-base factor)",
        "count": "height in encoder counts, from the encoder's own zero",
    },
}


def export(path: Path, folder: Path) -> list[Path]:
    """Write the tables; gives the paths written.

    Raises:
        RigError: the logbook cannot be read.
        OSError: the folder cannot be written.
    """
    with Logbook.open(path, writable=False) as book:
        rigs = {run.run_id: run.versions["device"] for run in book.runs()}
        frames = {
            "trials.csv": _trials(book, warning(path)),
            "results.csv": _results(book, rigs),
            "traces.csv": _traces(book, rigs),
            "curves.csv": _curves(book, rigs),
        }
    frames["columns.csv"] = pd.DataFrame(
        [(file, name, text) for file, told in COLUMNS.items() for name, text in told.items()],
        columns=["file", "column", "meaning"],
    )
    folder.mkdir(parents=True, exist_ok=True)
    for name, frame in frames.items():
        frame.to_csv(folder / name, index=False)
    return [folder / name for name in frames]


DAMAGE = ("depth_m", "width_m", "u_m", "smallest_m")


def _trials(book: Logbook, warned: str) -> pd.DataFrame:
    """One row for each trial on a specimen, recorded or not."""
    runs, back = {run.run_id: run for run in book.runs()}, withdrawn(book)
    rows: list[dict[str, Any]] = []
    for row, verdict in verdicts(book):
        run = runs[row.run_id or 0]
        if not verdict.trial:  # a note of somebody's own script
            continue
        at, damage = (run.run_id, verdict.trial), verdict.damage or {}
        found = {
            "run_id": run.run_id,
            "rig": run.versions["device"],
            "procedure": run.procedure,
            "at_utc": row.at_utc.strftime("%Y-%m-%dT%H:%M:%SZ"),
            "asked_energy_j": run.params.get("energy"),
            "damage": damage.get("kind"),
            "withdrawn": back[at].sentence if at in back else "",
            "warning": warned,
            **{f"damage_{key}": damage.get(key) for key in DAMAGE},
            "reasons": "; ".join(verdict.words),
            "indication": "; ".join(verdict.indication),
        }
        for key in ("trial", "specimen", "valid", "censored", "result_id"):
            found[key] = getattr(verdict, key)
        rows.append(found)
    return pd.DataFrame(rows, columns=list(COLUMNS["trials.csv"]))


def _results(book: Logbook, rigs: Mapping[int, str]) -> pd.DataFrame:
    rows: list[dict[str, Any]] = []
    for result in book.results():
        reasons = [reason["text"] for reason in result.result["reasons"]]
        for name, m in result.result["measurands"].items():
            told = {key: m[key] for key in ("value", "u", "U", "k", "dof", "unit")}
            rows.append(
                {
                    "result_id": result.result_id,
                    "run_id": result.run_id,
                    "trial": result.trial,
                    "rig": rigs[result.run_id],
                    "measurand": name,
                    **told,
                    "valid": not reasons,
                    "reasons": "; ".join(reasons),
                    "superseded_by": result.superseded_by,
                }
            )
    return pd.DataFrame(rows, columns=list(COLUMNS["results.csv"]))


def _traces(book: Logbook, rigs: Mapping[int, str]) -> pd.DataFrame:
    parts = []
    for run_id, raw_id in ((r, raw_id) for r in rigs for raw_id in book.raw_ids(r)):
        raw, meta = book.raw(raw_id)
        height = capture(raw)[Kind.HEIGHT]
        parts.append(
            pd.DataFrame(
                {
                    "raw_id": raw_id,
                    "run_id": run_id,
                    "rig": rigs[run_id],
                    "trial": meta.get("trial", ""),
                    "ticks": height.ticks,
                    "nominal_s": height.ticks / TICK_HZ,
                    "count": height.values,
                }
            )
        )
    columns = list(COLUMNS["traces.csv"])
    return pd.concat(parts)[columns] if parts else pd.DataFrame(columns=columns)


def _curves(book: Logbook, rigs: Mapping[int, str]) -> pd.DataFrame:
    """Torque over angle of every trial that recorded it, as its newest measurement took it."""
    parts: dict[tuple[int | None, str], pd.DataFrame] = {}
    for row in book.journal(kind=STEP):
        step = row.body["step"]
        of = ON_SPECIMEN.get(step["measurand"]) if step["step"] == "Measure" else None
        if of is None or step["raw_id"] is None or row.run_id is None:
            continue
        made = of.curve(capture(book.raw(step["raw_id"])[0]), step["settings"])
        if made is not None:
            parts[row.run_id, step["trial"]] = pd.DataFrame(
                {
                    "raw_id": step["raw_id"],
                    "run_id": row.run_id,
                    "rig": rigs[row.run_id],
                    "trial": step["trial"],
                    "nominal_s": made.at_s,
                    "angle_rad": made.angle_rad,
                    "torque_nm": made.net_nm,
                    "cell_torque_nm": made.raw_nm,
                }
            )
    columns = list(COLUMNS["curves.csv"])
    return pd.concat(parts.values())[columns] if parts else pd.DataFrame(columns=columns)
