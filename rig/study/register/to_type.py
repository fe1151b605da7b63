"""What to type for a trial of the plan, and when all are made."""

from rig.commands import typed
from rig.study.register import conditions
from rig.study.register.kept import Kept, Planned
from rig.study.register.order import FILE
from rig.study.register.record import StudyRecord


def closing(study: Kept, logbook: object) -> str:
    """What to type when every planned trial is made."""
    if study.opened:
        return typed("bladerig", "compare", logbook)
    elsewhere = study.order is not None and study.order.sealed.held == FILE
    more = ("--key-file", "KEYFILE") if elsewhere else ()
    return typed("bladerig", "study", "unseal", logbook, *more)


def command(trial: Planned, record: StudyRecord, logbook: str, practice: bool = False) -> str:
    """What to type for one trial; on the virtual rig when the study is practice."""
    own = conditions.stated(record, trial.procedure)
    settings = [f"{name}={value}" for name, value in own.items()]
    virtual = ("--virtual",) if practice else ()
    return typed(
        "bladerig", "run", trial.procedure, logbook, f"specimen={trial.code}", *settings, *virtual
    )
