"""The report of a study: verdicts first, every blade shown, and what was left out with why."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from rig import __version__
from rig.commands import typed
from rig.logbook.store import Logbook
from rig.report import nextsteps, studyfacts
from rig.report.soundness import warning
from rig.report.studyfigures import legend, picture
from rig.report.writing import whole
from rig.study.answers import common, words
from rig.study.answers.answer import agreements
from rig.study.answers.said import practice, said
from rig.study.answers.whole import Whole, unsealed
from rig.study.register import blinding
from rig.study.register.order import GENERATOR
from rig.study.register.responses import KINDS
from rig.study.statistics.phrases import many, probability


def write(path: Path, out: Path | None) -> tuple[Path, dict[str, Any]]:
    """Write the report of a logbook's study; gives its path and what it says.

    Raises:
        RigError: see `rig.study.answers.whole.unsealed`.
        OSError: the file cannot be written.
    """
    study = unsealed(path)
    with Logbook.open(path, writable=False) as book:
        text = _environment().get_template("study.html").render(_shown(study, book, path))
    return whole(out or path.with_suffix(".study.html"), text), said(study)


def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("rig.report", "."), undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, autoescape=select_autoescape(default=True, default_for_string=True),
    )  # fmt: skip


def _shown(study: Whole, book: Logbook, path: Path) -> dict[str, Any]:
    answers = study.answers
    return {
        "record": study.record,
        "order": study.order,
        "key": study.key,
        "generator": GENERATOR,
        "order_of_trials": studyfacts.order_of_trials(study),
        "blinding": list(blinding.sentences(study.kept)),
        "unsealed": study.kept.unsealed,
        "out_of_turn": study.kept.out_of_turn,
        "left": study.left,
        "early": [u for u in study.kept.unsealed if u["trials_left"]],
        "seeing": study.seeing,
        "practice": practice(study),
        "answers": answers,
        "beside": study.beside,
        "pictures": {one.response.name: picture(one) for one in answers},
        "blades": {one.response.name: studyfacts.blades(one) for one in answers},
        "assumes": common.assumptions(answers),
        "shared": common.notes(answers),
        "found": studyfacts.found,
        "sized": any(line.size for one in answers for line in one.lines),
        "adjusted": any(one.adjusted and one.adjusted.comparisons for one in answers),
        "legends": list(dict.fromkeys(map(legend, answers))),
        "agreements": agreements(answers),
        "parities": [words.parity(one.parity) for one in answers if one.parity is not None],
        "progress": studyfacts.progress(book, study),
        "promised": studyfacts.promised(study),
        "runs": studyfacts.runs(book),
        "certificates": studyfacts.certificates(book),
        "fixed": studyfacts.fixed(study),
        "lost": studyfacts.lost(study),
        "withdrawn": studyfacts.withdrawn(study),
        "checks": studyfacts.checks(book),
        "scope": studyfacts.scope(study.record, book),
        "steps": nextsteps.steps(study, path.name),
        "fingerprint": book.head_fingerprint(),
        "logbook_id": book.logbook_id,
        "path": path,
        "warning": warning(path),
        "commands": [
            typed("bladerig", "audit", path.name, "--printed", book.head_fingerprint()),
            *(typed("bladerig", what, path.name) for what in ("recompute", "compare")),
            typed("bladerig", "export", path.name, "--out", "tables"),
        ],
        "settles": words.one_settles(len(answers), KINDS[study.record.primary].title),
        "probability": probability,
        "many": many,
        "version": __version__,
        "written": datetime.now(UTC),
    }
