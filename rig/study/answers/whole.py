"""A whole study read from its logbook: record, order, trials, and the answers once unsealed."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rig.errors import RigError
from rig.logbook.store import Logbook
from rig.study.answers import missing
from rig.study.register import kept
from rig.study.register.collect import Collected, Excluded, beside, collect
from rig.study.register.kept import Kept, Order, Planned
from rig.study.register.record import StudyRecord
from rig.study.register.trials import Trial, media, trials
from rig.study.register.unlike import Unlike, conditions, differing

if TYPE_CHECKING:
    from rig.study.answers.answer import Answer


@dataclass(frozen=True)
class Whole:
    """A study with its codes dealt.

    Attributes:
        left: planned trials that are not made yet.
        key: code -> blade; None while it is sealed.
        media: run -> what it cut, as it put it down.
    """

    kept: Kept
    order: Order
    trials: tuple[Trial, ...]
    left: tuple[Planned, ...]
    key: Mapping[str, str] | None
    media: Mapping[int, Mapping[str, Any]] = field(default_factory=dict)

    @property
    def record(self) -> StudyRecord:
        """The study as entered."""
        return self.kept.record

    @cached_property
    def collected(self) -> list[Collected]:
        """Response by response what may be compared; none while the key is sealed."""
        if self.key is None:
            return []
        return collect(self.trials, self.record, self.key, kept.procedures(self.record))

    @cached_property
    def answers(self) -> "list[Answer]":
        """Response by response, the primary one first; none while the key is sealed."""
        told = [self._with_missing(self._answer(one), one) for one in self.collected]
        return sorted(told, key=lambda one: one.response.name != self.record.primary)

    def _answer(self, one: Collected) -> "Answer":
        from rig.study.answers.answer import answer

        return answer(one, self.record, self._blocks(one.response.kind.procedure))

    def _with_missing(self, told: "Answer", one: Collected) -> "Answer":
        """What lost, withdrawn and unlike trials do to an answer."""
        key, procedure = self.key or {}, one.response.kind.procedure
        gone = missing.of_response(self.kept.lost, one, key)
        said = [
            missing.not_made(
                sum(each.procedure == procedure for each in self.left),
                sum(each.procedure == procedure for each in self.order.trials),
            ),
            missing.verdict(gone, key, self.record),
            self._weighed(told, missing.as_worst(gone, one, key, self.record)),
            missing.taken_back_late(self.trials, self.kept.lost, procedure),
        ]
        notes = [missing.note(gone, key), *(each.sentence for each in self.unlike(one))]
        return replace(
            told,
            said=" ".join([told.said, *filter(None, said)]),
            notes=(*told.notes, *filter(None, notes)),
        )

    def _weighed(self, told: "Answer", worst: Collected | None) -> str:
        return "" if worst is None else missing.weighed(told.verdict, self._answer(worst).verdict)

    def unlike(self, one: Collected) -> list[Unlike]:
        """Conditions in which the trials that count in a response differ."""
        left_out = {(e.trial, e.run_id) for e in one.excluded}
        return differing(
            [
                (trial.name, trial.run, conditions(trial.run, self.media.get(trial.run.run_id)))
                for trial in self.trials
                if trial.procedure == one.response.kind.procedure
                and (trial.name, trial.run.run_id) not in left_out
            ]
        )

    def _blocks(self, procedure: str) -> dict[str, str]:
        """Blade -> block of its trials by `procedure`, for a study whose key is open.

        Blades tested in several blocks have none.
        """
        key, blocks = self.key or {}, dict[str, set[str]]()
        for one in self.order.trials:
            if one.procedure == procedure:
                blocks.setdefault(key[one.code], set()).add(one.block)
        return {blade: next(iter(mine)) for blade, mine in blocks.items() if len(mine) == 1}

    @property
    def beside(self) -> list[Excluded]:
        """Trials of procedures that the study compares nothing of."""
        return beside(self.trials, self.record)

    @property
    def seeing(self) -> list[Trial]:
        """Trials made after the key was first opened: they were not blind."""
        if not self.kept.opened:
            return []
        opened = self.kept.unsealed[0]["at_utc"]
        return [one for one in self.trials if one.at_utc > opened]


def read(path: Path) -> Whole:
    """The study of a logbook, sealed or not.

    Raises:
        RigError: no study, or the codes are not dealt.
    """
    with Logbook.open(path, writable=False) as book:
        study = kept.require(book)
        if study.order is None:
            raise RigError(
                "the codes are not dealt yet", where=str(path), remedy=f"bladerig study deal {path}"
            )
        made = trials(
            book, study.order.codes, kept.procedures(study.record), study.fixed,
            one_bench=bool(study.order.fixed),
        )  # fmt: skip
        left = kept.left(book, study)
        cut = media(book)
    key = study.key() if study.opened else None
    return Whole(study, study.order, tuple(made), tuple(left), key, cut)


def unsealed(path: Path) -> Whole:
    """The study of a logbook whose key is open.

    Raises:
        RigError: as `read`, or the key is still sealed.
    """
    whole = read(path)
    if whole.key is None:
        more = f"; {len(whole.left)} planned trials are left" if whole.left else ""
        raise RigError(
            f"the key of the codes is still sealed{more}",
            where=str(path),
            remedy=f"when the last trial is made: bladerig study unseal {path}",
        )
    return whole
