"""Results and traces as CSV tables, with one table that explains every column."""

from pathlib import Path
from typing import Any

import pandas as pd

from rig.board.samples import capture
from rig.board.wire import TICK_HZ
from rig.logbook.store import Logbook

COLUMNS = {
    "results.csv": {
        "result_id": "number of the result in the logbook",
        "run_id": "number of the run",
        "trial": "name of the trial",
        "measurand": "what was measured",
        "value": "best estimate, in `unit`",
        "u": "standard uncertainty, in `unit`",
        "U": "expanded uncertainty, about 95 %, in `unit`",
        "k": "coverage factor, U / u",
        "dof": "effective degrees of freedom; empty means unlimited",
        "unit": "SI unit",
        "valid": "True when no reason stands against the trial's measurement",
        "reasons": "what stands against it, separated by '; '",
        "superseded_by": "number of the result that took its place; empty for a current one",
    },
    "traces.csv": {
        "raw_id": "number of the raw frames in the logbook",
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
        frames = {"results.csv": _results(book), "traces.csv": _traces(book)}
    frames["columns.csv"] = pd.DataFrame(
        [(file, name, text) for file, told in COLUMNS.items() for name, text in told.items()],
        columns=["file", "column", "meaning"],
    )
    folder.mkdir(parents=True, exist_ok=True)
    for name, frame in frames.items():
        frame.to_csv(folder / name, index=False)
    return [folder / name for name in frames]


def _results(book: Logbook) -> pd.DataFrame:
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
                    "measurand": name,
                    **told,
                    "valid": not reasons,
                    "reasons": "; ".join(reasons),
                    "superseded_by": result.superseded_by,
                }
            )
    return pd.DataFrame(rows, columns=list(COLUMNS["results.csv"]))


def _traces(book: Logbook) -> pd.DataFrame:
    parts = []
    for raw_id in book.raw_ids():
        raw, meta = book.raw(raw_id)
        height = capture(raw).height
        parts.append(
            pd.DataFrame(
                {
                    "raw_id": raw_id,
                    "trial": meta.get("trial", ""),
                    "ticks": height.ticks,
                    "nominal_s": height.ticks / TICK_HZ,
                    "count": height.values,
                }
            )
        )
    columns = list(COLUMNS["traces.csv"])
    return pd.concat(parts)[columns] if parts else pd.DataFrame(columns=columns)
