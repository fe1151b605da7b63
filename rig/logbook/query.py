"""Reading the tables of an open logbook."""

import json
import sqlite3
import zlib
from pathlib import Path
from typing import Any

from rig.errors import RigError
from rig.logbook.hashing import GENESIS_PREVIOUS, row_hash, sha256
from rig.logbook.held import held
from rig.logbook.journal import GENESIS, RUN_ENDED, parse_time
from rig.logbook.records import Run, StoredResult
from rig.logbook.schema import KEYS


def last_id(connection: sqlite3.Connection, table: str) -> int:
    """The number of the last row of a table, 0 when it is empty."""
    (last,) = connection.execute(f"SELECT coalesce(max({KEYS[table]}), 0) FROM {table}").fetchone()
    return int(last)


def genesis(connection: sqlite3.Connection) -> dict[str, Any]:
    """The body of the first row: title, schema, logbook_id; ValueError when it is not there."""
    row = connection.execute("SELECT kind, body FROM journal WHERE number = 1").fetchone()
    if row is None or row[0] != GENESIS:
        raise ValueError("journal row 1 is not the first row of a logbook")
    body: dict[str, Any] = held(row[1], "journal row 1")
    return body


def require_head_hash(connection: sqlite3.Connection) -> None:
    """ValueError when the last row does not follow from the one before it."""
    last, *before = connection.execute(
        "SELECT number, at_utc, run_id, kind, body, hash FROM journal ORDER BY number DESC LIMIT 2"
    ).fetchall()
    previous = before[0][-1] if before else GENESIS_PREVIOUS
    if row_hash(previous, *last[:-1]) != last[-1]:
        raise ValueError(f"journal row {last[0]} was changed")


def runs(connection: sqlite3.Connection, run_id: int | None = None) -> list[Run]:
    """All runs, or the one asked for, with their ends."""
    where, values = _where("run", {"run_id": run_id})
    return [
        _run(row)
        for row in connection.execute(
            f"""SELECT run.run_id, procedure, procedure_hash, params, versions,
            start.at_utc, stop.at_utc, stop.body
        FROM run
        JOIN journal AS start ON start.number = run.journal_number
        LEFT JOIN journal AS stop ON stop.run_id = run.run_id AND stop.kind = '{RUN_ENDED}'
        {where} ORDER BY run.run_id""",
            values,
        ).fetchall()
    ]


def _run(row: tuple[Any, ...]) -> Run:
    number, procedure, digest, params, versions, started, ended, end = row
    body = {"outcome": None, "reason": None} if end is None else held(end, f"end of run {number}")
    return Run(
        run_id=number,
        procedure=procedure,
        procedure_hash=digest,
        params=held(params, f"run {number}"),
        versions=held(versions, f"run {number}"),
        started_utc=parse_time(started),
        ended_utc=None if ended is None else parse_time(ended),
        outcome=body["outcome"],
        reason=body["reason"],
    )


def raw(connection: sqlite3.Connection, file: Path, raw_id: int) -> tuple[bytes, dict[str, Any]]:
    """Frames as received and their meta, checked against their hash."""
    meta, digest, packed = connection.execute(
        "SELECT meta, sha256, packed FROM raw WHERE raw_id = ?", (raw_id,)
    ).fetchone()
    try:
        chunks = zlib.decompress(packed)
    except zlib.error:
        chunks = None
    if chunks is None or sha256(chunks) != digest:
        raise RigError(
            f"raw {raw_id} was changed after it was stored",
            where=str(file),
            remedy="run the audit on it and take the frames from a copy",
            value=raw_id,
        )
    return chunks, json.loads(meta)


def raw_ids(connection: sqlite3.Connection, run_id: int | None, trial: str | None) -> list[int]:
    """Numbers of the stored frames of a run or a trial."""
    where, values = _where("raw", {"run_id": run_id, "trial": trial})
    return [
        row[0]
        for row in connection.execute(
            f"SELECT raw_id FROM raw {where} ORDER BY raw_id", values
        ).fetchall()
    ]


def results(
    connection: sqlite3.Connection, run_id: int | None, trial: str | None
) -> list[StoredResult]:
    """Results of a run or a trial, superseded ones too."""
    where, values = _where("result", {"run_id": run_id, "trial": trial})
    return [
        _result(row)
        for row in connection.execute(
            f"""SELECT result.result_id, result.run_id, result.trial, result.measurand,
            result.result, result.raw_ids, result.supersedes, successor.result_id, at_utc
        FROM result
        JOIN journal ON number = result.journal_number
        LEFT JOIN result AS successor ON successor.supersedes = result.result_id
        {where} ORDER BY result.result_id""",
            values,
        ).fetchall()
    ]


def _result(row: tuple[Any, ...]) -> StoredResult:
    number, run_id, trial, measurand, result, raws, supersedes, successor, at_utc = row
    return StoredResult(
        result_id=number,
        run_id=run_id,
        trial=trial,
        measurand=measurand,
        result=held(result, f"result {number}"),
        raw_ids=tuple(json.loads(raws)),
        supersedes=supersedes,
        superseded_by=successor,
        stored_utc=parse_time(at_utc),
    )


def require_supersedable(
    connection: sqlite3.Connection, file: Path, result_id: int, belongs: tuple[int, str, str]
) -> None:
    """RigError unless a result is the current one of this run, trial and measurand."""
    found = connection.execute(
        "SELECT run_id, trial, measurand FROM result WHERE result_id = ?", (result_id,)
    ).fetchone()
    if found != belongs:
        what = "belongs to run {}, trial {}, measurand {}".format(*found)
        remedy = "supersede a result of the same trial and measurand"
    else:
        successor = connection.execute(
            "SELECT result_id FROM result WHERE supersedes = ?", (result_id,)
        ).fetchone()
        if successor is None:
            return
        what, remedy = f"is superseded by result {successor[0]} already", "supersede that one"
    raise RigError(f"result {result_id} {what}", where=str(file), remedy=remedy, value=result_id)


def _where(table: str, wanted: dict[str, int | str | None]) -> tuple[str, list[int | str]]:
    given = {name: value for name, value in wanted.items() if value is not None}
    clause = " AND ".join(f"{table}.{name} = ?" for name in given)
    return (f"WHERE {clause}" if clause else ""), list(given.values())
