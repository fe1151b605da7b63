"""The trials of the next hours, in stretches that need one set-up each."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rig.study.register import to_type
from rig.study.register.calendar import SETUP_MIN, Stint, minutes
from rig.study.register.kept import Planned
from rig.study.register.record import StudyRecord
from rig.study.register.workload import supplies
from rig.study.statistics.phrases import many


@dataclass(frozen=True)
class Stretch:
    """Trials of one procedure, one after the other; `minutes` with setting up."""

    procedure: str
    trials: tuple[Planned, ...]
    minutes: float

    def to_dict(self) -> dict[str, Any]:
        """For programs."""
        return {"procedure": self.procedure, "minutes": self.minutes,
                "trials": [vars(one) for one in self.trials]}  # fmt: skip


def ahead(left: Sequence[Planned], record: StudyRecord, hours: float) -> list[Stretch]:
    """As many of the trials left, in their order, as the hours have room for; one at least."""
    told: list[Stretch] = []
    spent = 0.0
    for trial in left:
        same = bool(told) and told[-1].procedure == trial.procedure
        takes = minutes(record, trial.procedure) + (0 if same else SETUP_MIN)
        if told and spent + takes > 60 * hours + 1e-9:
            break
        spent += takes
        before = told.pop() if same else Stretch(trial.procedure, (), 0.0)
        told.append(Stretch(trial.procedure, (*before.trials, trial), before.minutes + takes))
    return told


def in_words(
    stretches: Sequence[Stretch], record: StudyRecord, logbook: Path, practice: bool
) -> Iterator[str]:
    """What to set up, what to take, and what to type for each trial."""
    for one in stretches:
        stint = Stint("", one.procedure, tuple(t.code for t in one.trials), 1, one.minutes)
        take = supplies(record, [stint])
        yield (
            f"{one.procedure}: {many(len(one.trials), 'blade')}, about {one.minutes / 60:.2g} "
            "hours with setting up" + (f"; take {take}" if take else "")
        )
        for trial in one.trials:
            command = to_type.command(trial, record, str(logbook), practice)
            yield f"  {trial.place}: {trial.code}, {trial.block}   {command}"
