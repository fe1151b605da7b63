"""The page of one run: self-contained HTML that a sceptic can check."""

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from rig import __version__
from rig.commands import typed
from rig.guide import traceability
from rig.guide.device import WORDS
from rig.guide.kinds import AIM_OF, ON_SPECIMEN, kind_of
from rig.report import afterwards, certificate, figures, run_settings
from rig.report.cutting import EDGE_LIFE
from rig.report.gather import MeasuredTrial, RunView, gather
from rig.report.hardness import HARDNESS
from rig.report.impact import IMPACT
from rig.report.ink import degrees, sign
from rig.report.ink import quantity as quantity
from rig.report.prying import PRY
from rig.report.rowwords import row_name
from rig.report.sections import Section, attached
from rig.report.sharpness import SHARPNESS
from rig.report.staircase import STAIRCASE
from rig.report.twisting import TWIST
from rig.report.writing import templates, whole

SECTIONS = attached(IMPACT, PRY, HARDNESS, TWIST, STAIRCASE, EDGE_LIFE, SHARPNESS)


def content(path: Path, run_id: int | None) -> dict[str, Any]:
    """What the page says, for programs."""
    view = gather(path, run_id)
    return {
        "run_id": view.run.run_id,
        "procedure": view.run.procedure,
        "outcome": view.run.outcome,
        "rig": view.run.versions["device"],
        "warning": view.warning,
        "verdict": _sentence(view),
        "trials": [_told(trial) for trial in view.tested],
        "others": [_told(trial) for trial in view.others],
        "unrecorded": [one.summary() for one in view.unrecorded],
        "photographs": [
            {"of": one.of, "path": one.path, "sha256": one.sha256, "told": one.told}
            for one in view.photos
        ],
        "fingerprint": view.fingerprint,
        "logbook_id": view.logbook_id,
    }


def _sentence(view: RunView) -> str:
    if view.run.procedure in certificate.TITLES:
        return certificate.verdict(view.path, view.run.run_id)
    return verdict(view)


def _told(trial: MeasuredTrial) -> dict[str, Any]:
    return {
        "trial": trial.name,
        "judged": trial.judged,
        "valid": trial.valid,
        "reasons": trial.reasons,
        "measurands": trial.result["measurands"],
        "indication": trial.indication,
        "figures": trial.result.get("figures", {}),
        "damage": trial.damage,
        "raw_sha256": trial.raw_sha256,
    }


def verdict(view: RunView) -> str:
    """The run in one or two sentences."""
    section, noun = SECTIONS.get(view.kind), noun_of(view)
    valid = [trial for trial in view.tested if trial.valid]
    if not view.made:
        ends = {None: " so far", "abandoned": " before it was given up"}
        return f"Nothing was measured on a specimen in this run{ends.get(view.run.outcome, '')}."
    told = []
    if view.verdicts:
        counting = sum(one.valid for one in view.verdicts)
        are = "is" if 1 in (counting, len(view.verdicts)) else "are"
        told.append(f"{counting} of {_counted(len(view.verdicts), noun)} {are} valid.")
        none = "" if counting and section is None else "No value can be stated."
        told.append(_values(section, valid) or none)
        back = [trial for trial in view.tested if _taken_back(view, trial)]
        if back and (had := _values(section, back)):
            told.append(f"Withdrawn, and not counted: {had}")
    if view.unjudged:
        one = len(view.unjudged) == 1
        told.append(
            f"{_counted(len(view.unjudged), noun)} {'was' if one else 'were'} measured and "
            f"{'has' if one else 'have'} no verdict{_because(view)}."
        )
        told.append(_values(section, view.unjudged))
    if _short_of_aim(view):
        told.append(ON_SPECIMEN[AIM_OF[view.run.procedure]].missed)
    told += [f"{why}." for why in _hedges(section, [*valid, *view.unjudged])]
    if any(trial.indication for trial in (*valid, *view.unjudged)):
        told.append("An indication only: see below what it lacks.")
    return " ".join(filter(None, told))


def _taken_back(view: RunView, trial: MeasuredTrial) -> bool:
    """Whether its maker withdrew it."""
    own = [one for one in view.verdicts if one.trial == trial.name]
    return any(reason.name == "withdrawn" for one in own for reason in one.reasons)


def noun_of(view: RunView) -> str:
    """What one trial of the run is called."""
    section = SECTIONS.get(view.kind)
    return section.noun if section else "trial"


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}{'s' * (number != 1)}"


def _because(view: RunView) -> str:
    return "" if view.run.outcome == "finished" else ": the run did not come to it"


def _values(section: Section | None, trials: list[MeasuredTrial]) -> str:
    """The main value of each trial that has one; "" when none has."""
    each = [] if section is None else [said for t in trials if (said := section.said(t))]
    if section is None or not each:
        return ""
    called = section.called(trials[0]) or section.words[section.main]
    return f"{called.capitalize()}: {', '.join(each)}."


def _hedges(section: Section | None, trials: list[MeasuredTrial]) -> list[str]:
    """Why ± is worth less than it says, each once."""
    found = [] if section is None else [section.hedged(trial) for trial in trials]
    return list(dict.fromkeys(filter(None, found)))


def title(view: RunView) -> str:
    """What the page is headed: of the test, or of the procedure that did not come so far."""
    section = SECTIONS.get(view.kind)
    plain = view.run.procedure.replace("_", " ").capitalize()
    return plain if section is None or _short_of_aim(view) else section.title


def _short_of_aim(view: RunView) -> bool:
    aim = AIM_OF.get(view.run.procedure, view.kind)
    return view.kind != aim and bool(ON_SPECIMEN[aim].missed)


def shown(section: Section, measurands: dict[str, Any]) -> dict[str, Any]:
    """The measurands in the order of the section's words (the journal keeps them by name)."""
    return {name: measurands[name] for name in section.words if name in measurands}


def values(trial: MeasuredTrial) -> list[tuple[str, str]]:
    """What another measurement of the run gave: its main value, else all of them."""
    section, found = SECTIONS.get(trial.measurand), trial.result["measurands"]
    if section is not None and section.main in found:
        return [(section.words[section.main], quantity(found[section.main]))]
    return [(row_name(name), quantity(one)) for name, one in found.items()]


def write(path: Path, run_id: int | None, out: Path | None) -> Path:
    """Write the page of a run; gives its path.

    Raises:
        RigError: nothing to report.
        OSError: the file cannot be written.
    """
    view = gather(path, run_id)
    if view.run.procedure in certificate.TITLES:
        return certificate.write(path, view.run.run_id, out)
    environment = templates()
    environment.filters |= {"quantity": quantity, "degrees": degrees, "sign": sign}
    section = SECTIONS.get(view.kind)
    falls = bool(view.kind) and kind_of(view.kind).falls
    limit = view.run.versions["bench"]["tower"]["fall"]["a_change_limit"]
    pictures = {t.name: section.picture(t) for t in view.tested} if section else {}
    text = environment.get_template("run.html").render(
        view=view,
        section=section,
        title=title(view),
        noun=noun_of(view),
        because=_because(view),
        held=traceability.certificates(view.bench, view.kind),
        on_the_tower=falls,
        values=values,
        table=None if section is None else _table(section, view.tested),
        hedges=_hedges(section, view.tested),
        limits=() if section is None else _limits(section, view.tested),
        verdict=verdict(view),
        shown=shown,
        row_name=row_name,
        rig=WORDS.get(view.run.versions["device"], view.run.versions["device"]),
        asked=run_settings.settings(view.run),
        due=afterwards.steps(view),
        commands=_commands(view),
        pictures=pictures,
        chart=figures.chart(view.chart, limit) if falls else None,
        version=__version__,
        written=datetime.now(UTC),
    )
    return whole(out or path.with_name(f"{path.stem}-run-{view.run.run_id}.html"), text)


@dataclass(frozen=True)
class Table:
    """The table of all trials; `cells` by the trial's name."""

    columns: tuple[str, ...]
    cells: dict[str, list[str]]


def _table(section: Section, trials: list[MeasuredTrial]) -> Table:
    """Without the columns in which no trial has anything."""
    rows = {trial.name: section.cells(trial) for trial in trials}
    used = [at for at in range(len(section.columns)) if any(row[at] for row in rows.values())]
    return Table(
        tuple(section.columns[at] for at in used),
        {name: [row[at] for at in used] for name, row in rows.items()},
    )


def _limits(section: Section, trials: list[MeasuredTrial]) -> list[str]:
    """What the page cannot say, each once."""
    more = [text for trial in trials for text in section.more_limits(trial)]
    return list(dict.fromkeys([*more, *section.limits]))


def _commands(view: RunView) -> list[str]:
    """What checks the page against the logbook."""
    name = view.path.name
    return [
        typed("bladerig", "audit", name, "--printed", view.fingerprint),
        typed("bladerig", "recompute", name),
    ]
