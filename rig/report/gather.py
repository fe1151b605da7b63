"""What one run of a logbook holds, put in order for a page. Nothing is computed anew here."""

import hashlib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from rig.bench import Bench, practising
from rig.board.samples import capture
from rig.commands import typed
from rig.errors import RigError
from rig.guide import traceability
from rig.guide.kinds import ON_SPECIMEN
from rig.guide.stretch import TALLY
from rig.guide.verdict import KIND, State, Verdict, read
from rig.logbook.journal import RAW_STORED, STEP
from rig.logbook.records import Row, Run
from rig.logbook.store import Logbook
from rig.measure.budget import Reason
from rig.report import interruptions, notes
from rig.report.photos import Photo, recorded
from rig.report.soundness import warning
from rig.report.trial import MeasuredTrial as MeasuredTrial
from rig.study.register import accidents

CHART = {"bench", "a_eff"}


@dataclass(frozen=True)
class Aside:
    """Something that happened beside the plan: an interruption, a lost line, a reason given."""

    row: int
    at_utc: datetime
    what: str


@dataclass(frozen=True)
class Raw:
    """Frames as received: a row of the logbook's raw table."""

    raw_id: int
    trial: str
    size: int
    sha256: str


@dataclass(frozen=True)
class RunView:
    """One run, ready to be shown.

    Attributes:
        warning: that the logbook was changed after it was written; "" for a sound one.
        verdicts: of all trials in the order made, those without a record too.
        notes: what the procedure asked and noted, as (what, value).
        counted: whether the board counted strokes.
    """

    path: Path
    title: str
    logbook_id: str
    fingerprint: str
    run: Run
    warning: str
    verdicts: list[Verdict] = field(default_factory=list)
    notes: list[tuple[str, str]] = field(default_factory=list)
    trials: list[MeasuredTrial] = field(default_factory=list)
    asides: list[Aside] = field(default_factory=list)
    chart: list[tuple[datetime, dict[str, Any]]] = field(default_factory=list)
    raws: list[Raw] = field(default_factory=list)
    photos: list[Photo] = field(default_factory=list)
    counted: bool = False

    @property
    def bench(self) -> Bench:
        """The bench as the run found it."""
        bench = Bench.model_validate(self.run.versions["bench"])
        return practising(bench) if self.run.practice else bench

    @property
    def unrecorded(self) -> list[Verdict]:
        """Verdicts of trials that nobody recorded."""
        return [one for one in self.verdicts if one.state is State.UNRECORDED]

    @property
    def made(self) -> list["Made"]:
        """Every trial on the specimen in the order made."""
        recorded = {trial.name: trial for trial in self.tested}
        judged = [Made(one.trial, one, recorded.get(one.trial)) for one in self.verdicts]
        return judged + [Made(one.name, None, one) for one in self.unjudged]

    @property
    def kind(self) -> str:
        """What was measured on the specimen; "" for a run that measured nothing on one."""
        found = [one.measurand for one in self.trials if one.on_specimen]
        return found[-1] if found else ""

    @property
    def tested(self) -> list[MeasuredTrial]:
        """The trials on the specimen, those that the run stopped in before their verdict too."""
        kind = self.kind
        return [t for t in self.trials if t.on_specimen and t.measurand == kind]

    @property
    def unjudged(self) -> list[MeasuredTrial]:
        """Tested and measured, but without a verdict."""
        return [trial for trial in self.tested if not trial.judged]

    @property
    def empty(self) -> list[MeasuredTrial]:
        """The session's empty drops."""
        return [t for t in self.trials if t.measurand in ON_SPECIMEN and not t.on_specimen]

    @property
    def others(self) -> list[MeasuredTrial]:
        """What else was measured: sweeps, a staircase's drops, the probes of an edge."""
        shown = {id(trial) for trial in (*self.tested, *self.empty)}
        return [trial for trial in self.trials if id(trial) not in shown]


@dataclass(frozen=True)
class Made:
    """A trial on the specimen: its verdict unless the run stopped before, and what was measured."""

    name: str
    verdict: Verdict | None
    trial: MeasuredTrial | None

    @property
    def valid(self) -> bool:
        """Whether a verdict says so."""
        return self.verdict is not None and self.verdict.valid


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
        counted = any(True for _ in book.journal(chosen, TALLY))
        view = RunView(path, book.title, book.logbook_id, book.head_fingerprint(), run,
                       warning(path), counted=counted)  # fmt: skip
        _fill(view, book)
    return view


def _fill(view: RunView, book: Logbook) -> None:
    judged = _by_trial(book, view.run.run_id, KIND)
    _take_back(judged, book, view.run.run_id)
    damages = {row.body["trial"]: row.body for row in book.journal(view.run.run_id, "damage")
               if "trial" in row.body}  # fmt: skip
    sites = _by_trial(book, view.run.run_id, "site")
    rows, bench = list(book.journal(view.run.run_id)), view.bench
    measured = {row.body["step"].get("raw_id") for row in rows if row.kind == STEP}
    silent = {row.number: what for row, what in interruptions.silent(rows, view.run)}
    for row in rows:
        if row.kind == STEP and row.body["step"]["step"] == "Measure":
            view.trials.append(_trial(book, row.body, {**sites, **judged}, damages, bench))
        elif row.kind == STEP:
            view.notes.extend(notes.entries(row.body))
        if (what := silent.get(row.number) or _aside(row, measured)) is not None:
            view.asides.append(Aside(row.number, row.at_utc, what))
    # The drops of a staircase are its trials only until it has come to its own.
    view.verdicts.extend((judged or (sites if view.kind in ("drop", "") else {})).values())
    view.photos.extend(recorded(rows, view.path))
    view.raws.extend(_raw(book, row.body) for row in rows if row.kind == RAW_STORED)
    _chart(view, book)


def _raw(book: Logbook, stored: Mapping[str, Any]) -> Raw:
    frames, _ = book.raw(stored["raw_id"])
    return Raw(stored["raw_id"], stored["trial"], len(frames), stored["sha256"])


def _by_trial(book: Logbook, run_id: int, kind: str) -> dict[str, Verdict]:
    """Verdicts noted as a kind by their trial; early scripts may have noted none of any."""
    told = (read(row.body) for row in book.journal(run_id, kind))
    return {verdict.trial: verdict for verdict in told if verdict.trial}


def _take_back(verdicts: dict[str, Verdict], book: Logbook, run_id: int) -> None:
    """Tell of each trial that was withdrawn afterwards: it is shown, and does not count."""
    for (run, name), one in accidents.withdrawn(book).items():
        if run == run_id and name in verdicts:
            verdicts[name] = verdicts[name].taken_back(Reason("withdrawn", one.sentence))


def _aside(row: Row, measured: Collection[int | None]) -> str | None:
    """What a row tells that is beside the plan; `measured` are the raw rows that were used."""
    if row.kind in interruptions.KINDS:
        return interruptions.told(row.kind, row.body)
    if row.kind != STEP or row.body["step"]["step"] not in ("Release", "Record"):
        return None
    step, outcome = row.body["step"], row.body["outcome"]
    if outcome["raw_id"] not in {None, *measured}:
        return interruptions.told(interruptions.NOT_MEASURED, {**step, "raw_id": outcome["raw_id"]})
    if outcome.get("early"):
        return interruptions.told(interruptions.EARLY, step)
    if step["step"] == "Release" and outcome["raw_id"] is None and outcome["released"] is not False:
        return interruptions.told(interruptions.NOT_RECORDED, step)
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
    book: Logbook, body: dict[str, Any], judged: dict[str, Verdict], damages: dict[str, Any],
    bench: Bench,
) -> MeasuredTrial:  # fmt: skip
    step = body["step"]
    raw = b"" if step["raw_id"] is None else book.raw(step["raw_id"])[0]
    return MeasuredTrial(
        name=step["trial"],
        measurand=step["measurand"],
        result=body["outcome"].less("result_id"),
        settings=step["settings"],
        raw_id=step["raw_id"],
        raw_sha256=hashlib.sha256(raw).hexdigest() if raw else "",
        seen=capture(raw),
        verdict=judged.get(step["trial"]),
        damage=damages.get(step["trial"]),
        lacks=traceability.lacks(bench, step["measurand"]),
    )
