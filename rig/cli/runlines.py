"""One line for a run: when, what, which blade, what came of it, how it ended."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rig.guide.verdict import Verdict
    from rig.logbook.records import Run
    from rig.logbook.store import Logbook
    from rig.study.register.accidents import Withdrawn

FIGURES = {
    "energy_j": "J", "peak_torque_nm": "N·m", "hardness_hrc": "HRC", "severing_force_n": "N",
}  # fmt: skip
"""Keys of a verdict that say what came of a trial, with their units."""
MOST = 3  # results on one line


def line(book: "Logbook", run: "Run", logbook: Path) -> str:
    """The run in one line; an unfinished one with what to type to go on with it."""
    from rig.guide.resume_command import command

    end = run.outcome or f"unfinished: {command(run, logbook)}"
    if run.outcome == "abandoned":
        end += f": {run.reason}"
    virtual = "VIRTUAL RIG" * run.practice
    when = f"{run.started_utc:%Y-%m-%d %H:%M} UTC"
    parts = [f"run {run.run_id}", when, run.procedure, virtual, came_of(book, run), end]
    return "  ".join(part for part in parts if part)


def came_of(book: "Logbook", run: "Run") -> str:
    """Blade and result of each trial; "" when nothing was judged yet."""
    from rig.guide.verdict import verdicts
    from rig.study.register import accidents

    back = accidents.withdrawn(book)
    told = [
        _trial(verdict, back.get((run.run_id, verdict.trial)))
        for _, verdict in verdicts(book, run.run_id)
    ]
    if len(told) > MOST:
        told = [*told[:MOST], f"{len(told) - MOST} more"]
    return "; ".join(told) or str(run.params.get("specimen") or "")


def _trial(verdict: "Verdict", back: "Withdrawn | None") -> str:
    name, of = verdict.trial or verdict.specimen or "trial", verdict.details
    figures = [
        f"{of[key]:.4g} {unit}"
        for key, unit in FIGURES.items()
        if isinstance(of.get(key), (int, float))
    ]
    if verdict.life:
        figures.append(_life(verdict.life))
    kind = [str(of["kind"])] if "kind" in of else []
    against = [] if verdict.valid or not verdict.trial else ["NOT VALID"]
    taken = [] if back is None else [f"WITHDRAWN: {back.reason}"]
    said = ", ".join([*kind, *figures, *against, *taken])
    return f"{name}: {said}" if said else name


def _life(life: Mapping[str, Any]) -> str:
    last, first = life["last_pass_cuts"], life["first_fail_cuts"]
    return f"more than {last:g}" + (" cuts" if first is None else f", at most {first:g} cuts")
