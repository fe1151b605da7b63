"""The trials of a study as its logbook holds them, and everything that stands against each.

A trial is what a run put in the journal as its verdict. Nothing is dropped here: a trial that may
not be compared keeps its reasons and goes into the report and the export with them.
"""

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from rig.guide.verdict import Verdict, verdicts
from rig.logbook.records import Row, Run, StoredResult
from rig.logbook.store import Logbook
from rig.measure.budget import Reason
from rig.study.register import accidents, unlike
from rig.study.register.accidents import Withdrawn
from rig.study.register.kept import codes_of

INDICATION_ONLY = "indication_only"
"""Name of what stands against a trial that lacks a certificate or a mass, else nothing."""
PRACTISED = Reason("practice", "practised on the virtual rig, others are measured")


@dataclass(frozen=True)
class Trial:
    """One trial.

    Attributes:
        codes: of its blades; several when they shared it.
        verdict: as its procedure noted it; None of a run that left none.
        measurands: of the result in force; empty when there is none.
        against: why it may not be compared; empty when nothing stands against it.
        withdrawn: whether its maker took it back.
    """

    name: str
    run: Run
    at_utc: datetime
    codes: tuple[str, ...]
    verdict: Verdict | None
    measurands: Mapping[str, Any]
    against: tuple[Reason, ...] = ()
    withdrawn: Withdrawn | None = None

    @property
    def words(self) -> list[str]:
        """Why it may not be compared, for people."""
        return [reason.text for reason in self.against]

    @property
    def procedure(self) -> str:
        """Name of the procedure it was made by."""
        return self.run.procedure


def trials(
    book: Logbook, codes: Collection[str], wanted: Collection[str],
    fixed: Mapping[str, Mapping[str, str]] | None = None, one_bench: bool = False,
) -> list[Trial]:  # fmt: skip
    """Every trial of the logbook in its order, and runs of the study that left none.

    Args:
        book: the study's logbook.
        codes: of the study's blades.
        wanted: procedures that the study asks for.
        fixed: procedure -> settings that the study fixes; left out, none.
        one_bench: whether bench, calibration and lot of the medium of a procedure's first trial
            that counts are fixed too.
    """
    runs = {run.run_id: run for run in book.runs()}
    current = _current(book)
    back = accidents.withdrawn(book)
    told = [
        _trial(row, verdict, runs[row.run_id], current, back)
        for row, verdict in verdicts(book)
        if row.run_id in runs and verdict.specimen
    ]
    told = [replace(one, against=tuple(_own(one, codes, fixed or {}))) for one in told]
    told = _by_one_version(_on_one_rig(told))
    told = _on_one_lot(_on_one_bench(told), media(book)) if one_bench else told
    spoken = {one.run.run_id for one in told}
    silent = [_silent(run) for run in runs.values() if run.procedure in wanted
              and run.run_id not in spoken]  # fmt: skip
    return sorted([*told, *silent], key=lambda one: (one.at_utc, one.run.run_id))


def _trial(
    row: Row, verdict: Verdict, run: Run, current: Mapping[int, StoredResult],
    back: Mapping[tuple[int, str], Withdrawn],
) -> Trial:  # fmt: skip
    result = current.get(verdict.result_id or 0)
    return Trial(
        verdict.trial or f"row {row.number}", run, row.at_utc, codes_of(verdict.specimen),
        verdict, {} if result is None else result.result.get("measurands", {}),
        withdrawn=back.get((run.run_id, verdict.trial)),
    )  # fmt: skip


def _silent(run: Run) -> Trial:
    """A run without any verdict: it is told, and enters nothing."""
    why = f"{run.outcome}: {run.reason}" if run.outcome else "not finished"
    specimen = str(run.params.get("specimen") or "?")
    return Trial(
        f"{specimen}, no trial", run, run.started_utc, (specimen,), None, {},
        (Reason("no_verdict", f"its run left no verdict ({why})"),),
    )  # fmt: skip


def _own(
    one: Trial, codes: Collection[str], fixed: Mapping[str, Mapping[str, str]]
) -> Iterator[Reason]:
    """What stands against a trial by itself."""
    if one.withdrawn:
        yield Reason("withdrawn", one.withdrawn.sentence)
    if apart := unlike.of_settings(one.run, fixed.get(one.procedure, {})):
        yield Reason("other_settings", f"not made like the others: {'; '.join(apart)}")
    for code in one.codes:
        if code not in codes:
            yield Reason("no_code", f"'{code}' is no code of this study")
    if one.verdict is not None:
        yield from _by_verdict(one.verdict)
    if one.run.outcome != "finished":
        yield Reason("unfinished", f"its run is {one.run.outcome or 'not finished'}")


def _by_verdict(verdict: Verdict) -> Iterator[Reason]:
    yield from verdict.reasons
    for lacking in verdict.lacks:
        yield Reason(INDICATION_ONLY, f"an indication only: {lacking.text}")


def _on_one_rig(told: Sequence[Trial]) -> list[Trial]:
    """Practice on the virtual rig enters no comparison of measured blades."""
    if len({one.run.practice for one in told if not one.against}) < 2:
        return list(told)
    return [_more(one, PRACTISED) if one.run.practice else one for one in told]


def _by_one_version(told: Sequence[Trial]) -> list[Trial]:
    """One version of each procedure: that of most trials that count; the newer one when even."""
    counts: dict[str, Counter[str]] = {}
    for one in reversed(told):
        if not one.against:
            counts.setdefault(one.procedure, Counter())[one.run.procedure_hash] += 1
    usual = {procedure: count.most_common(1)[0][0] for procedure, count in counts.items()}

    def judged(one: Trial) -> Trial:
        most = usual.get(one.procedure, one.run.procedure_hash)
        if one.run.procedure_hash == most:
            return one
        text = (
            f"measured by another version of {one.procedure} ({one.run.procedure_hash[:8]}; most "
            f"others by {most[:8]})"
        )
        return _more(one, Reason("other_version", text))

    return [judged(one) for one in told]


def _on_one_bench(told: Sequence[Trial]) -> list[Trial]:
    """The bench, and its certificates, of each procedure's first trial that counts."""
    first = _first(told)

    def judged(one: Trial) -> Trial:
        began, bench = first.get(one.procedure, one).run, one.run.versions.get("bench") or {}
        for text in unlike.of_rig(began, bench, one.procedure):
            one = _more(one, Reason("other_bench", text))
        return one

    return [judged(one) for one in told]


def _on_one_lot(told: Sequence[Trial], cut: Mapping[int, Mapping[str, Any]]) -> list[Trial]:
    """The lot of the medium of each procedure's first trial that counts."""
    first = _first(told)

    def judged(one: Trial) -> Trial:
        began = first.get(one.procedure, one).run
        lots = [str((cut.get(run.run_id) or {}).get("lot") or "") for run in (began, one.run)]
        if not all(lots) or lots[0] == lots[1]:
            return one
        text = f"lot {lots[1]} of the medium, and run {began.run_id} had {lots[0]}"
        return _more(one, Reason("other_lot", text))

    return [judged(one) for one in told]


def _first(told: Sequence[Trial]) -> dict[str, Trial]:
    """Procedure -> its first trial that counts."""
    first: dict[str, Trial] = {}
    for one in told:
        if not one.against:
            first.setdefault(one.procedure, one)
    return first


def media(book: Logbook) -> dict[int, dict[str, Any]]:
    """Run -> what it cut, as it put it down."""
    return {row.run_id: dict(row.body) for row in book.journal(kind="media") if row.run_id}


def _more(one: Trial, reason: Reason) -> Trial:
    return replace(one, against=(*one.against, reason))


def _current(book: Logbook) -> dict[int, StoredResult]:
    """The result in force now for each result ever stored, by its number."""
    results = {result.result_id: result for result in book.results()}

    def newest(result: StoredResult) -> StoredResult:
        while result.superseded_by is not None:
            result = results[result.superseded_by]
        return result

    return {number: newest(result) for number, result in results.items()}


@dataclass(frozen=True)
class Trouble:
    """A trial that wants a look before the next one."""

    run_id: int
    procedure: str
    trial: str
    why: str


def not_counting(book: Logbook) -> list[Trouble]:
    """Trials that do not count, by what their verdicts say."""
    procedures = {run.run_id: run.procedure for run in book.runs()}
    back, told = accidents.withdrawn(book), []
    for row, verdict in verdicts(book):
        if row.run_id is None or not verdict.specimen or (row.run_id, verdict.trial) in back:
            continue
        against = [reason.text for reason in _by_verdict(verdict)]
        if against:
            told.append(
                Trouble(row.run_id, procedures[row.run_id], verdict.trial, "; ".join(against))
            )
    return told
