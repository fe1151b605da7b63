"""What one run of a logbook holds, put in order for a page. Nothing is computed anew here."""

from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from rig.board.samples import Capture, capture
from rig.errors import RigError
from rig.guide.runner import INTERRUPTED, RESUMED, STEP
from rig.logbook.records import Run
from rig.logbook.store import Logbook

_ASIDE = {INTERRUPTED, RESUMED, "line", "permit_ended", "tower_changed", "clock-accepted"}


@dataclass(frozen=True)
class Trial:
    """One measured trial with everything that belongs to it."""

    name: str
    measurand: str
    result: dict[str, Any]
    settings: dict[str, Any]
    raw_id: int | None
    raw_sha256: str
    raw_bytes: int
    seen: Capture
    verdict: dict[str, Any] | None
    damage: dict[str, Any] | None

    @property
    def valid(self) -> bool:
        """Whether nothing stands against it."""
        return not self.reasons

    @property
    def reasons(self) -> list[str]:
        """Everything that stands against it, in words."""
        if self.verdict is not None:
            return list(self.verdict["reasons"])
        return [reason["text"] for reason in self.result["reasons"]]

    @property
    def indication(self) -> list[str]:
        """Why its numbers are an indication only (a certificate is lacking)."""
        return list((self.verdict or {}).get("indication", []))


@dataclass(frozen=True)
class Aside:
    """Something that happened beside the plan: an interruption, a lost line, a reason given."""

    row: int
    at_utc: datetime
    kind: str
    body: dict[str, Any]


@dataclass(frozen=True)
class RunView:
    """One run, ready to be shown."""

    path: Path
    title: str
    logbook_id: str
    fingerprint: str
    run: Run
    trials: list[Trial] = field(default_factory=list)
    unrecorded: list[dict[str, Any]] = field(default_factory=list)
    asides: list[Aside] = field(default_factory=list)
    chart: list[tuple[datetime, dict[str, Any]]] = field(default_factory=list)

    @property
    def tested(self) -> list[Trial]:
        """The trials on the specimen (empty drops and sweeps are left out)."""
        return [trial for trial in self.trials if trial.verdict is not None]

    @property
    def kind(self) -> str:
        """The measurand of the tested trials; "" for a run without any."""
        return self.tested[-1].measurand if self.tested else ""

    @property
    def empty(self) -> list[Trial]:
        """The session's empty drops."""
        return [t for t in self.trials if t.verdict is None and t.measurand == "drop"]

    @property
    def last_acceleration(self) -> dict[str, Any] | None:
        """The effective acceleration in force at the end of this run."""
        return self.chart[-1][1] if self.chart else None


def gather(path: Path, run_id: int | None) -> RunView:
    """Read one run (the last one when `run_id` is None).

    Raises:
        RigError: not a logbook, no such run, or no runs yet.
    """
    with Logbook.open(path, writable=False) as book:
        runs = book.runs()
        if not runs:
            raise RigError(
                "no runs yet", where=str(path),
                remedy=f"start one with: bladerig run drop_impact {path}",
            )  # fmt: skip
        chosen = runs[-1].run_id if run_id is None else run_id
        run = book.run(chosen)
        view = RunView(path, book.title, book.logbook_id, book.head_fingerprint(), run)
        _fill(view, book)
    return view


def _fill(view: RunView, book: Logbook) -> None:
    verdicts = {row.body["trial"]: row.body for row in book.journal(view.run.run_id, "verdict")}
    damages = {row.body["trial"]: row.body for row in book.journal(view.run.run_id, "damage")}
    for row in book.journal(view.run.run_id):
        if row.kind == STEP and row.body["step"]["step"] == "Measure":
            trial = _trial(book, row.body, verdicts, damages)
            view.trials.append(trial)
        elif row.kind in _ASIDE:
            view.asides.append(Aside(row.number, row.at_utc, row.kind, row.body))
    view.unrecorded.extend(body for body in verdicts.values() if "result_id" not in body)
    bench = view.run.versions["bench"]["name"]
    for row in book.journal(kind="tower_acceleration"):
        if row.body["bench"] == bench and (row.run_id or 0) <= view.run.run_id:
            view.chart.append((row.at_utc, row.body["a_eff"]))


def _trial(
    book: Logbook, body: dict[str, Any], verdicts: dict[str, Any], damages: dict[str, Any]
) -> Trial:
    import hashlib

    step = body["step"]
    raw = b"" if step["raw_id"] is None else book.raw(step["raw_id"])[0]
    return Trial(
        name=step["trial"],
        measurand=step["measurand"],
        result={key: value for key, value in body["outcome"].items() if key != "result_id"},
        settings=step["settings"],
        raw_id=step["raw_id"],
        raw_sha256=hashlib.sha256(raw).hexdigest(),
        raw_bytes=len(raw),
        seen=capture(raw),
        verdict=verdicts.get(step["trial"]),
        damage=damages.get(step["trial"]),
    )
