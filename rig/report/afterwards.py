"""What to do after a run, from what came of it: a sentence or two for each thing that is due."""

from collections.abc import Iterator
from pathlib import Path

from rig.calibration.inforce import lacking
from rig.commands import typed
from rig.guide.kinds import ON_SPECIMEN, kind_of
from rig.guide.resume_command import anew, command
from rig.logbook.store import Logbook
from rig.report.gather import RunView
from rig.report.run_settings import unlike_defaults
from rig.study.register import kept, to_type


def steps(view: RunView) -> list[str]:
    """What is due, most pressing first."""
    name = Path(view.path.name)
    if view.run.outcome is None:
        return [f"The run is unfinished. Go on where it stopped: {command(view.run, name)}"]
    if view.run.outcome == "abandoned":
        given = anew(view.run, name, unlike_defaults(view.run))
        return [f"The run was given up ({view.run.reason}). Begin it anew: {given}"]
    due = [*_mended(view), *_certified(view), *_bounds(view)]
    counts = any(trial.valid and not trial.indication for trial in view.tested)
    return [*due, *(_further(view) if counts or not due else ())]


def _mended(view: RunView) -> Iterator[str]:
    """What did not count."""
    bad = [one for one in view.made if not one.valid]
    if not bad:
        return
    page = "" if view.run.versions.get("script_path") else (
        f" (procedures/{view.run.procedure}.md says what to do for each name in brackets)"
    )  # fmt: skip
    names = ", ".join(one.name for one in bad)
    yield (
        f"Not valid: {names}. Put right what the table names{page}; then {_again(view)}. "
        "What did not count stays on record."
    )


def _again(view: RunView) -> str:
    """How to measure again: in a study whose codes are dealt, by its order."""
    of = ON_SPECIMEN.get(view.kind)
    fresh = "with everything in order" if of is None else of.again
    with Logbook.open(view.path, writable=False) as book:
        study = kept.found(book)
    if study is None or study.order is None:
        return f"measure again {fresh}"
    return (
        f"see what comes: {typed('bladerig', 'study', 'next', view.path.name)}. Where the blade "
        f"allows it, the same code is measured again {fresh}"
    )


def _certified(view: RunView) -> Iterator[str]:
    """What makes its results count."""
    if not any(trial.indication for trial in view.tested):
        return
    virtual = ("--virtual",) if view.run.versions["device"] == "virtual" else ()
    kind = kind_of(view.kind)
    channels = [one for one in kind.channels if lacking(view.bench, one)]
    if channels:
        commands = "; ".join(typed("bladerig", "calibrate", one, *virtual) for one in channels)
        yield f"For results that enter a comparison calibrate first, then measure again: {commands}"
    if kind.falls and view.bench.tower.carriage.against:
        yield "Weigh the carriage and state its mass in bench.toml, then measure again."


def _bounds(view: RunView) -> Iterator[str]:
    """What a bound, or an interval that may be too narrow, asks for."""
    of, valid = ON_SPECIMEN.get(view.kind), [trial for trial in view.tested if trial.valid]
    if of is None:
        return
    ends = {tuple(str(t.result.get(key) or "") for key in ("kind", "censored")) for t in valid}
    for kind, side in sorted(ends):
        if (kind, side) in of.bounds:
            yield of.bounds[kind, side]
    yield from dict.fromkeys(filter(None, (of.asks(trial.result) for trial in valid)))


def _further(view: RunView) -> Iterator[str]:
    """The next blade: the study's, else anyone's."""
    name = view.path.name
    with Logbook.open(view.path, writable=False) as book:
        study = kept.found(book)
        left = study and kept.left(book, study)
    if study is not None:
        yield _planned(study, bool(left), name)
        return
    if "specimen" in view.run.params:
        given = {**unlike_defaults(view.run), "specimen": "CODE"}
        yield f"The next blade, with its own code: {anew(view.run, Path(name), given)}"
    yield (
        "One blade compares nothing. To compare groups of blades plan it first: "
        "bladerig study --help"
    )


def _planned(study: kept.Kept, left: bool, name: str) -> str:
    """What the logbook's study asks for now."""
    if study.order is None:
        return f"The study's codes are not dealt yet: {typed('bladerig', 'study', 'deal', name)}"
    if left:
        return f"The study's next trial: {typed('bladerig', 'study', 'next', name)}"
    return f"Every planned trial is made: {to_type.closing(study, name)}"
