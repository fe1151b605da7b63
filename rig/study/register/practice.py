"""Whether a study is practice: as long as no trial of it was made on a real rig."""

from rig.logbook.store import Logbook
from rig.study.register import kept


def practice(book: Logbook) -> bool:
    """Whether every run of the study so far was made on the virtual rig, and there is one."""
    study = kept.found(book)
    wanted = {} if study is None else kept.procedures(study.record)
    practised = [run.practice for run in book.runs() if run.procedure in wanted]
    return bool(practised) and all(practised)
