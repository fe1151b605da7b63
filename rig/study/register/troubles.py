"""What wants a look before the next trial: trials that do not count."""

from dataclasses import dataclass

from rig.logbook.store import Logbook
from rig.study.register.accidents import withdrawn


@dataclass(frozen=True)
class Trouble:
    """A trial that wants a look before the next one."""

    run_id: int
    procedure: str
    trial: str
    why: str


def void(book: Logbook) -> list[Trouble]:
    """Trials that do not count, by what their verdicts say."""
    procedures = {run.run_id: run.procedure for run in book.runs()}
    back, told = withdrawn(book), []
    for row in book.journal(kind="verdict"):
        if row.run_id is None or "specimen" not in row.body:
            continue
        if (row.run_id, str(row.body.get("trial"))) in back:
            continue
        against = list(row.body.get("reasons") or ()) if not row.body.get("valid") else []
        against += [f"an indication only: {text}" for text in row.body.get("indication") or ()]
        if against:
            told.append(Trouble(row.run_id, procedures[row.run_id],
                                str(row.body.get("trial")), "; ".join(against)))  # fmt: skip
    return told
