"""A study as a table, one row a trial, in CSV and Parquet, with its dictionary of columns.

While the key of the codes is sealed the columns that would give it away stay empty.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd

from rig.study.answers.whole import Whole, read
from rig.study.register.collect import Excluded, value_of
from rig.study.register.kept import Planned
from rig.study.register.record import StudyRecord
from rig.study.register.trials import Trial

NAME, DICTIONARY = "study-trials", "study-columns.csv"
COLUMNS = {
    "run_id": "number of the run in the logbook",
    "trial": "name of the trial",
    "procedure": "procedure it was made by",
    "version": "SHA-256 of that procedure, with the passages it shares",
    "rig": "'virtual' is practice on the virtual rig; 'port' a real board",
    "at_utc": "when its verdict was recorded, UTC",
    "blind": "True when the key of the codes was sealed then",
    "place": "its place in the planned order; empty when it is not of the plan",
    "block": "block of the plan",
    "code": "code of the blade; several when blades shared the trial",
    "blade": "name of the blade; empty while the key is sealed, as all that follows up to 'batch'",
    "group": "its group",
    "load": "furnace load",
    "angle_deg": "edge angle, degrees a side",
    "thickness_m": "thickness behind the edge, m",
    "batch": "batch of the steel",
    "valid": "True when the trial itself is valid",
    "indication": "why its numbers are an indication only; empty when they count",
    "censored": "'right' when a value is only a bound: at least that much",
    "counts_in": "responses it enters, separated by '; '; empty while the key is sealed",
    "left_out": "response and why it does not enter it, separated by ' | '",
}
SEALED = ("blade", "group", "load", "angle_deg", "thickness_m", "batch", "counts_in")


def export(path: Path, folder: Path) -> list[Path]:
    """Write table and dictionary; gives the paths written.

    Raises:
        RigError: no study, or its codes are not dealt.
        OSError: the folder cannot be written.
    """
    study = read(path)
    columns = {**COLUMNS, **dict(_of_responses(study.record))}
    frame = _typed(pd.DataFrame(_rows(study), columns=list(columns)))
    folder.mkdir(parents=True, exist_ok=True)
    table, packed, told = (folder / f"{NAME}.csv", folder / f"{NAME}.parquet", folder / DICTIONARY)
    frame.to_csv(table, index=False)
    _pack(frame, packed, columns)
    pd.DataFrame(
        [(NAME, name, text) for name, text in columns.items()],
        columns=["file", "column", "meaning"],
    ).to_csv(told, index=False)
    return [table, packed, told]


def _pack(frame: pd.DataFrame, path: Path, columns: dict[str, str]) -> None:
    """As Parquet, its dictionary inside."""
    import fastparquet

    fastparquet.write(
        str(path), frame, write_index=False,
        custom_metadata={f"meaning of {name}": text for name, text in columns.items()},
    )  # fmt: skip


def _typed(frame: pd.DataFrame) -> pd.DataFrame:
    """One type a column, whatever happens to be empty."""
    whole, numbers = {"run_id", "place"}, {"angle_deg", "thickness_m"}
    for name in frame.columns:
        if name in whole:
            frame[name] = frame[name].astype("Int64")
        elif name in ("blind", "valid"):
            frame[name] = frame[name].astype(bool)
        elif name in COLUMNS and name not in numbers:
            frame[name] = frame[name].fillna("").astype(object)
        else:
            frame[name] = pd.to_numeric(frame[name])
    return frame


def _of_responses(record: StudyRecord) -> Iterator[tuple[str, str]]:
    for response in record.response:
        kind = response.kind
        if kind.field == "life":
            yield f"{response.name}_last_pass", f"{kind.title}: cuts at the last probe passed"
            yield (
                f"{response.name}_first_fail",
                f"{kind.title}: cuts at the first probe failed; empty when still sharp",
            )
            continue
        yield response.name, f"{kind.title}, {kind.unit}"
        yield (
            f"{response.name}_u",
            f"its standard uncertainty, {kind.unit}; empty when none is on record (nothing seen)",
        )


def _rows(study: Whole) -> list[dict[str, Any]]:
    excluded: dict[tuple[str, str, int], Excluded] = {}
    for one in study.collected:
        for e in one.excluded:
            excluded[one.response.name, e.trial, e.run_id] = e
    places: dict[tuple[str, str], list[Planned]] = {}
    for planned in study.order.trials:
        places.setdefault((planned.procedure, planned.code), []).append(planned)
    not_blind = {id(trial) for trial in study.seeing}
    return [
        _row(trial, study, excluded, places, id(trial) not in not_blind) for trial in study.trials
    ]


def _row(
    trial: Trial, study: Whole, excluded: dict[tuple[str, str, int], Excluded],
    places: dict[tuple[str, str], list[Planned]], blind: bool,
) -> dict[str, Any]:  # fmt: skip
    planned = places.get((trial.procedure, trial.codes[0]), [])
    place = planned.pop(0) if planned else None
    row = {
        "run_id": trial.run.run_id,
        "trial": trial.name,
        "procedure": trial.procedure,
        "version": trial.run.procedure_hash,
        "rig": trial.run.versions.get("device", ""),
        "at_utc": trial.at_utc.strftime("%Y-%m-%dT%H:%M:%SZ"),
        "blind": blind,
        "place": None if place is None else place.place,
        "block": None if place is None else place.block,
        "code": ", ".join(trial.codes),
        "valid": trial.verdict is not None and trial.verdict.valid,
        "indication": "; ".join(trial.verdict.indication if trial.verdict else ()),
        "censored": trial.verdict.censored if trial.verdict else "",
    }
    return row | _blade(trial, study) | _values(trial, study, excluded)


def _blade(trial: Trial, study: Whole) -> dict[str, Any]:
    blades = {blade.name: blade for blade in study.record.blade}
    key = study.key or {}
    mine = [blades[key[code]] for code in trial.codes if code in key]
    if not mine:
        return dict.fromkeys(SEALED[:-1])
    first = mine[0]
    return {
        "blade": " + ".join(blade.name for blade in mine),
        "group": " + ".join(dict.fromkeys(blade.group for blade in mine)),
        "load": " + ".join(dict.fromkeys(blade.load for blade in mine)),
        "angle_deg": first.angle_deg if len(mine) == 1 else None,
        "thickness_m": first.thickness if len(mine) == 1 else None,
        "batch": " + ".join(dict.fromkeys(blade.batch for blade in mine)),
    }


def _values(
    trial: Trial, study: Whole, excluded: dict[tuple[str, str, int], Excluded]
) -> dict[str, Any]:
    row: dict[str, Any] = {}
    counts, left_out = [], []
    asked = [r for r in study.record.response if r.kind.procedure == trial.procedure]
    for response in asked:
        name = response.name
        if response.kind.field == "life":
            life = (trial.verdict and trial.verdict.life) or {}
            row[f"{name}_last_pass"] = life.get("last_pass_cuts")
            row[f"{name}_first_fail"] = life.get("first_fail_cuts")
        else:
            row[name], u = value_of(trial, response.kind)
            row[f"{name}_u"] = u or None
        found = excluded.get((name, trial.name, trial.run.run_id))
        reasons = found.reasons if found else trial.words
        if reasons:
            left_out.append(f"{name}: {'; '.join(reasons)}")
        else:
            counts.append(name)
    if not asked:
        left_out.append("; ".join(("the study compares nothing of it", *trial.words)))
    counted = "" if study.key is None else "; ".join(counts)
    return row | {"counts_in": counted, "left_out": " | ".join(left_out)}
