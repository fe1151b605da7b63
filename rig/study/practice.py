"""Whether a study is practice: as long as no trial of it was made on a real rig."""

from rig.logbook.certificates import VIRTUAL
from rig.logbook.store import Logbook
from rig.study import kept


def practice(book: Logbook) -> bool:
    """Whether every run of the study so far was made on the virtual rig, and there is one."""
    study = kept.found(book)
    wanted = {} if study is None else kept.procedures(study.record)
    rigs = {run.versions.get("device") for run in book.runs() if run.procedure in wanted}
    return rigs == {VIRTUAL}
