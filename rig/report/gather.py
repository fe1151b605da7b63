"""What one run of a logbook holds, put in order for a page. Nothing is computed anew here."""

from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from rig.board.samples import Capture, capture
from rig.commands import typed
from rig.errors import RigError
from rig.guide.runner import STEP
from rig.logbook.records import Row, Run
from rig.logbook.store import Logbook
from rig.report import asides
from rig.report.soundness import warning

CHART = {"bench", "a_eff"}


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
    def coded(self) -> list[str]:
        """The reasons, each with the name by which the procedure's page explains it."""
        names = {reason["text"]: reason["name"] for reason in self.result["reasons"]}
        return [f"{text} [{names[text]}]" if text in names else text for text in self.reasons]

    @property
    def indication(self) -> list[str]:
        """Why its numbers are an indication only (a certificate is lacking)."""
        return list((self.verdict or {}).get("indication", []))


@dataclass(frozen=True)
class Aside:
    """Something that happened beside the plan: an interruption, a lost line, a reason given."""

    row: int
    at_utc: datetime
    what: str


@dataclass(frozen=True)
class RunView:
    """One run, ready to be shown.

    Attributes:
        warning: that the logbook was changed after it was written; "" for a sound one.
        verdicts: of all trials in the order made, those without a record too.
        notes: what the procedure asked and noted, as (what, value).
    """

    path: Path
    title: str
    logbook_id: str
    fingerprint: str
    run: Run
    warning: str
    verdicts: list[dict[str, Any]] = field(default_factory=list)
    notes: list[tuple[str, str]] = field(default_factory=list)
    trials: list[Trial] = field(default_factory=list)
    asides: list[Aside] = field(default_factory=list)
    chart: list[tuple[datetime, dict[str, Any]]] = field(default_factory=list)

    @property
    def unrecorded(self) -> list[dict[str, Any]]:
        """Verdicts of trials that nobody recorded."""
        return [body for body in self.verdicts if "result_id" not in body]

    @property
    def made(self) -> list[tuple[dict[str, Any], Trial | None]]:
        """Every trial on the specimen in the order made, as (verdict, trial if recorded)."""
        recorded = {trial.name: trial for trial in self.tested}
        return [(body, recorded.get(body["trial"])) for body in self.verdicts]

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


def gather(path: Path, run_id: int | None) -> RunView:
    """Read one run (the last one when `run_id` is None).

    Raises:
        RigError: not a logbook, no such run, or no runs yet.
    """
    with Logbook.open(path, writable=False) as book:
        runs = book.runs()
        if not runs:
            start = typed("bladerig", "run", "drop_impact", path, "energy=5J")
            raise RigError("no runs yet", where=str(path), remedy=f"start one with: {start}")
        chosen = runs[-1].run_id if run_id is None else run_id
        run = book.run(chosen)
        view = RunView(path, book.title, book.logbook_id, book.head_fingerprint(), run,
                       warning(path))  # fmt: skip
        _fill(view, book)
    return view


def _fill(view: RunView, book: Logbook) -> None:
    verdicts = _by_trial(book, view.run.run_id, "verdict")
    damages = _by_trial(book, view.run.run_id, "damage")
    view.verdicts.extend(verdicts.values())
    for row in book.journal(view.run.run_id):
        if row.kind == STEP and row.body["step"]["step"] == "Measure":
            view.trials.append(_trial(book, row.body, verdicts, damages))
        elif row.kind == STEP:
            view.notes.extend(_noted(row.body))
        if (what := _aside(row)) is not None:
            view.asides.append(Aside(row.number, row.at_utc, what))
    _chart(view, book)


def _by_trial(book: Logbook, run_id: int, kind: str) -> dict[str, dict[str, Any]]:
    """Notes of a kind by their trial; a script of one's own may note what it likes."""
    rows = (row.body for row in book.journal(run_id, kind))
    return {body["trial"]: {"reasons": [], **body} for body in rows if "trial" in body}


def _noted(body: dict[str, Any]) -> list[tuple[str, str]]:
    """What a step asked or noted, as (what, value)."""
    step, outcome = body["step"], body["outcome"]
    if step["step"] == "Ask":
        return [(step["text"], str(outcome["value"]))]
    if step["step"] == "Note":
        return [(f"{step['kind']}: {key}", str(value)) for key, value in step["body"].items()]
    return []


def _aside(row: Row) -> str | None:
    """What a row tells that is beside the plan."""
    if row.kind in asides.KINDS:
        return asides.told(row.kind, row.body)
    if row.kind == STEP and row.body["step"]["step"] == "Release":
        outcome = row.body["outcome"]
        if outcome["raw_id"] is None and outcome["released"] is not False:
            return asides.told(asides.NOT_RECORDED, row.body["step"])
    return None


def _chart(view: RunView, book: Logbook) -> None:
    """Effective accelerations of this bench, of this kind of rig, up to this run."""
    bench, kind = view.run.versions["bench"]["name"], view.run.versions["device"]
    same = {run.run_id for run in book.runs() if run.versions["device"] == kind}
    for row in book.journal(kind="tower_acceleration"):
        own = row.run_id in same and (row.run_id or 0) <= view.run.run_id
        if own and row.body.keys() >= CHART and row.body["bench"] == bench:
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
