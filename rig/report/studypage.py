"""The report of a study: verdicts first, every blade shown, and what was left out with why."""

from collections import Counter
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from rig import __version__
from rig.errors import RigError
from rig.logbook.store import Logbook
from rig.report.studyfigures import picture
from rig.study import kept, words
from rig.study.answer import Answer, agreements, answer
from rig.study.collect import collect
from rig.study.kept import Kept, Order
from rig.study.phrases import probability


def answers(path: Path) -> tuple[Kept, Order, list[Answer]]:
    """The study of a logbook and its answers, the primary response first.

    Raises:
        RigError: no study, codes not dealt, or the key still sealed.
    """
    with Logbook.open(path, writable=False) as book:
        study = kept.require(book)
        if study.order is None:
            raise RigError(
                "the codes are not dealt yet", where=str(path), remedy=f"bladerig study deal {path}"
            )
        if not study.opened:
            left = len(kept.left(study.order, kept.done(book)))
            more = f"; {left} planned trials are left" if left else ""
            raise RigError(
                f"the key of the codes is still sealed{more}", where=str(path),
                remedy=f"when the last trial is made: bladerig study unseal {path}",
            )  # fmt: skip
        key = study.order.key()
        told = [answer(one, study.record) for one in collect(book, study.record, key)]
    told.sort(key=lambda one: one.response.name != study.record.primary)
    return study, study.order, told


def content(path: Path) -> dict[str, Any]:
    """What the report says, for programs."""
    study, _, told = answers(path)
    return {
        "title": study.record.title,
        "question": study.record.question,
        "primary": study.record.primary,
        "answers": [one.to_dict() for one in told],
        "agreements": agreements(told),
        "unsealed": [u["reason"] for u in study.unsealed],
    }


def write(path: Path, out: Path | None) -> Path:
    """Write the report of a logbook's study; gives its path.

    Raises:
        RigError: see `answers`.
        OSError: the file cannot be written.
    """
    study, order, told = answers(path)
    environment = Environment(
        loader=PackageLoader("rig.report", "."), undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, autoescape=select_autoescape(default=True, default_for_string=True),
    )  # fmt: skip
    with Logbook.open(path, writable=False) as book:
        text = environment.get_template("study.html").render(
            record=study.record,
            order=order,
            unsealed=study.unsealed,
            early=[u for u in study.unsealed if u["trials_left"]],
            answers=told,
            pictures={one.response.name: picture(one) for one in told},
            agreements=agreements(told),
            parities=[one for one in told if one.parity is not None],
            progress=progress(book, order),
            runs=_runs(book),
            certificates=_certificates(book),
            fingerprint=book.head_fingerprint(),
            logbook_id=book.logbook_id,
            path=path,
            words_parity=lambda one: words.parity(one.parity),
            probability=probability,
            version=__version__,
            written=datetime.now(UTC),
        )
    target = out or path.with_suffix(".study.html")
    target.write_text(text, encoding="utf-8")
    return target


def progress(book: Logbook, order: Order) -> list[dict[str, Any]]:
    """Plan against what was done, procedure by procedure."""
    made, planned = kept.done(book), Counter(trial.procedure for trial in order.trials)
    left = Counter(trial.procedure for trial in kept.left(order, made))
    codes = {trial.code for trial in order.trials}
    extra = Counter({p: 0 for p in planned})
    for (procedure, code), count in made.items():
        if code not in codes or procedure not in planned:
            extra[procedure] += count
    return [
        {"procedure": p, "planned": n, "made": n - left[p], "beside": extra[p]}
        for p, n in planned.items()
    ]


def _runs(book: Logbook) -> list[dict[str, Any]]:
    return [
        {
            "run": run.run_id,
            "procedure": run.procedure,
            "version": run.procedure_hash[:12],
            "started": run.started_utc,
            "outcome": run.outcome or "unfinished",
            "rig": run.versions.get("device", ""),
            "firmware": run.versions.get("firmware", ""),
        }
        for run in book.runs()
    ]


def _certificates(book: Logbook) -> list[dict[str, Any]]:
    """Certificates as the runs had them, each once."""
    seen: dict[str, dict[str, Any]] = {}
    for run in book.runs():
        told = run.versions.get("bench", {}).get("certificates", {})
        for channel, one in told.items():
            certificate = one.get("certificate")
            if certificate is None:
                continue
            key = f"{channel} {certificate['made']}"
            seen.setdefault(key, {"channel": channel, **certificate, "against": one["against"],
                                  "first_run": run.run_id})  # fmt: skip
    return list(seen.values())
