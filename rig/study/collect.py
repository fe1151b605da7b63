"""From a logbook's verdicts to a response's observations; what is left out is listed with why."""

import math
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from rig.logbook.records import Result, Row, Run
from rig.logbook.store import Logbook
from rig.measure.life import Life
from rig.study.data import Observation, StudyData
from rig.study.record import BladeRecord, ResponseRecord, StudyRecord
from rig.study.responses import Kind


@dataclass(frozen=True)
class Excluded:
    """A trial that does not enter the comparison, and every reason why."""

    trial: str
    run_id: int
    reasons: tuple[str, ...]


@dataclass
class Collected:
    """One response: what may be compared, and what may not.

    `lives` are filled for a response known as intervals of cuts, `observations` for all others.
    """

    response: ResponseRecord
    observations: list[Observation] = field(default_factory=list)
    lives: list[Life] = field(default_factory=list)
    excluded: list[Excluded] = field(default_factory=list)

    def data(self, record: StudyRecord) -> StudyData:
        """As the comparison takes it."""
        return StudyData(
            self.response.response(), record.groups(), tuple(self.observations), record.facts()
        )


def collect(book: Logbook, record: StudyRecord, key: Mapping[str, str]) -> list[Collected]:
    """Every response of the study with the trials that count.

    Args:
        book: the study's logbook.
        record: the study.
        key: code -> blade.
    """
    runs = {run.run_id: run for run in book.runs()}
    current = _current(book)
    rows = [row for row in book.journal(kind="verdict") if row.run_id in runs]
    usual = _usual_versions(rows, runs)
    blades = {blade.name: blade for blade in record.blade}
    told = [Collected(response) for response in record.response]
    for row in rows:
        run = runs[row.run_id or 0]
        blade = blades.get(key.get(str(row.body.get("specimen")), ""))
        against = tuple(_against(row.body, run, blade, usual))
        for one in told:
            if one.response.kind.procedure == run.procedure:
                _take(one, row, run, blade, against, current)
    return told


def _usual_versions(rows: list[Row], runs: Mapping[int, Run]) -> dict[str, str]:
    """The version of each procedure that most verdicts come from; the newer one when even."""
    counts: dict[str, Counter[str]] = {}
    for row in reversed(rows):
        run = runs[row.run_id or 0]
        counts.setdefault(run.procedure, Counter())[run.procedure_hash] += 1
    return {procedure: count.most_common(1)[0][0] for procedure, count in counts.items()}


def _against(
    body: Mapping[str, Any], run: Run, blade: BladeRecord | None, usual: Mapping[str, str]
) -> Iterator[str]:
    if blade is None:
        yield f"'{body.get('specimen')}' is no code of this study"
    if not body["valid"]:
        yield from body["reasons"] or ["it is not valid"]
    for lacking in body.get("indication", ()):
        yield f"an indication only: {lacking}"
    if run.outcome != "finished":
        yield f"its run is {run.outcome or 'not finished'}"
    if run.procedure_hash != usual[run.procedure]:
        yield (
            f"measured by another version of {run.procedure} "
            f"({run.procedure_hash[:8]}; the others by {usual[run.procedure][:8]})"
        )


def _take(
    one: Collected, row: Row, run: Run, blade: BladeRecord | None, against: tuple[str, ...],
    current: Mapping[int, Result],
) -> None:  # fmt: skip
    trial, kind = str(row.body["trial"]), one.response.kind
    if against or blade is None:
        one.excluded.append(Excluded(trial, run.run_id, against))
        return
    if kind.field == "life":
        one.lives.append(_life(row.body["life"], blade))
        return
    value, u = _value(row, kind, current)
    if not math.isfinite(value):
        text = f"no {kind.title} can be stated of it"
        one.excluded.append(Excluded(trial, run.run_id, (text,)))
        return
    one.observations.append(
        Observation(
            blade.group, blade.name, value, blade.load, u, str(row.body.get("censored") or ""),
            (f"run {run.run_id}: {trial}",),
        )
    )  # fmt: skip


def _life(told: Mapping[str, Any], blade: BladeRecord) -> Life:
    fail = told["first_fail_cuts"]
    return Life(blade.name, blade.group, told["last_pass_cuts"], math.inf if fail is None else fail)


def _value(row: Row, kind: Kind, current: Mapping[int, Result]) -> tuple[float, float]:
    """Value and standard uncertainty; nan when the trial has none."""
    if kind.field:
        damage = row.body.get("damage") or {}
        name = kind.field.removeprefix("damage_")
        return float(damage.get(name, math.nan)), float(damage.get("u_m", 0.0))
    result = current.get(row.body.get("result_id", 0))
    found = None if result is None else result.result["measurands"].get(kind.measurand)
    return (math.nan, 0.0) if found is None else (found["value"], found["u"])


def _current(book: Logbook) -> dict[int, Result]:
    """The result in force now for each result ever stored, by its number."""
    results = {result.result_id: result for result in book.results()}

    def newest(result: Result) -> Result:
        while result.superseded_by is not None:
            result = results[result.superseded_by]
        return result

    return {number: newest(result) for number, result in results.items()}
