"""`bladerig study lost`, `study found` and `bladerig withdraw`: what goes wrong in a real week."""

import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from rig.logbook.store import Logbook
    from rig.study.register.kept import Kept

LOGBOOK = click.argument("logbook", type=click.Path(path_type=Path))
KEY_OPEN = click.option(
    "--key-open", is_flag=True, help="Do it although the key is open; the report tells it."
)
LIKE_TREATMENT = re.compile(
    r"\b(?:crack|warp|quench|broke|break|snap|chip|shatter|split|bent|bend|delaminat|brittle|soft)"
    r"\w*",
    re.IGNORECASE,
)
"""Words of what a treatment can do to a blade."""
ASKED = "Could its treatment have to do with it, as when it broke or warped in an earlier test?"


@click.command()
@LOGBOOK
@click.argument("code")
@click.option("--reason", required=True, help="What happened to it.")
@click.option(
    "--from-treatment",
    type=click.Choice(["yes", "no", "unknown"]),
    help="Whether its treatment may have to do with it: yes when it broke in an earlier test, no "
    "when it was mislaid. Asked for when left out.",
)
@click.option(
    "--other-cause",
    help="With --from-treatment no: what else did it, when the reason sounds like its treatment.",
)
@click.option(
    "--procedure", "procedures", multiple=True,
    help="Lost for this test only; may be given several times. Left out, for all that are left.",
)  # fmt: skip
@KEY_OPEN
def lost(
    logbook: Path, code: str, reason: str, from_treatment: str | None, other_cause: str | None,
    procedures: tuple[str, ...], key_open: bool,
) -> None:  # fmt: skip
    """Say that the blade CODE can be tested no more. The order goes on without it.

    Its trials so far count. The report lists it with its reason; a reason that may lie in the
    treatment is said in the verdict. An unfinished run of it is given up.

    \b
    Examples:
      bladerig study lost tempers.logbook KR4 --reason "mislaid" --from-treatment no
      bladerig study lost tempers.logbook KR4 --reason "tip broke in the drop test" \\
        --from-treatment yes --procedure pry_to_failure
      bladerig study lost tempers.logbook KR4 --reason "tip bent" --from-treatment no \\
        --other-cause "it fell off the bench"
    """
    from datetime import UTC, datetime

    from rig.commands import typed
    from rig.logbook.store import Logbook
    from rig.study.register import accidents, kept
    from rig.study.statistics.phrases import are

    _require_reason(reason)
    with Logbook.open(logbook, writable=True) as book:
        study = _sealed(book)
        code = _code(study, code, book)
        _require_procedures(study, procedures)
        _require_there(study, code, procedures, book)
        _require_closed(study.opened, key_open, logbook)
        tied = from_treatment or _ask_treatment()
        reason = _weighed(reason, tied, other_cause)
        before = len(kept.left(book, study))
        gone = accidents.Lost(code, reason, tied, procedures, datetime.now(UTC), study.opened)
        accidents.lose(book, gone, _open_runs(book, code, procedures))
        remaining = len(kept.left(book, kept.require(book)))
    click.echo(
        f"Blade {code} is lost, on record: {are(before - remaining, 'trial')} struck off the "
        f"plan, {remaining} left. Next: {typed('bladerig', 'study', 'next', logbook)}"
    )


@click.command()
@LOGBOOK
@click.argument("code")
@click.option("--reason", required=True, help="How it came back, or whose code was meant.")
@KEY_OPEN
def found(logbook: Path, code: str, reason: str, key_open: bool) -> None:
    """Say that a blade told lost is there after all; its trials are in the plan again.

    \b
    Example:  bladerig study found tempers.logbook KR4 --reason "it lay under the bench"
    """
    from rig.commands import typed
    from rig.errors import RigError
    from rig.logbook.store import Logbook
    from rig.study.register import accidents

    _require_reason(reason)
    with Logbook.open(logbook, writable=True) as book:
        study = _sealed(book)
        code = _code(study, code, book)
        if all(one.code != code for one in study.lost):
            raise RigError(f"blade {code} is not told lost", where=str(logbook), value=code,
                           remedy=typed("bladerig", "study", "next", logbook))  # fmt: skip
        _require_closed(study.opened, key_open, logbook)
        book.append(accidents.FOUND, {"code": code, "reason": reason, "key_open": study.opened})
    click.echo(
        f"Blade {code} is back in the plan. Next: {typed('bladerig', 'study', 'next', logbook)}"
    )


@click.command()
@LOGBOOK
@click.argument("trial")
@click.option("--reason", required=True, help="What is wrong with it.")
@click.option(
    "--again/--not-again",
    default=None,
    help="Whether the plan asks for it anew. Left out: yes where the test leaves the blade as it "
    "was, no where it uses it up.",
)
@KEY_OPEN
def withdraw(logbook: Path, trial: str, reason: str, again: bool | None, key_open: bool) -> None:
    """Take back TRIAL, by its name or the number of its run: it is kept, and does not count.

    Before the key is open only: whoever knows whose blade it was must not choose. The report shows
    the first value and the reason.

    \b
    Examples:
      bladerig withdraw tempers.logbook "KR4 hardness" --reason "typed 50.5 for 60.5"
      bladerig withdraw tempers.logbook 12 --reason "the wood had split before"
    """
    from rig.commands import typed
    from rig.logbook.store import Logbook
    from rig.study.register import accidents, kept

    _require_reason(reason)
    with Logbook.open(logbook, writable=True) as book:
        study = kept.found(book)
        opened = study is not None and study.opened
        accidents.require_fresh(book, trial)
        _require_closed(opened, key_open, logbook)
        anew = _anew(book, trial) if again is None else again
        names = accidents.withdraw(book, trial, reason, anew, opened)
    more = "the plan asks for it again" if anew else "the plan does not ask for it again"
    after = ("study", "next") if study is not None else ("runs",)
    click.echo(
        f"Withdrawn, on record: {', '.join(names)}"
        + (f"; {more}" if study is not None else "")
        + f". Next: {typed('bladerig', *after, logbook)}"
    )


def _require_reason(reason: str) -> None:
    from rig.errors import RigError

    if not reason.strip():
        raise RigError("--reason is empty", remedy="say what happened, like --reason 'mislaid'")


def _require_closed(opened: bool, key_open: bool, logbook: Path) -> None:
    from rig.errors import RigError

    if opened and not key_open:
        raise RigError(
            "the key is open: to take something out now is to choose among known blades",
            where=str(logbook),
            remedy="leave it in; or add --key-open, and the report tells it beside the verdict",
        )


def _sealed(book: "Logbook") -> "Kept":
    """The study, its codes dealt."""
    from rig.errors import RigError
    from rig.study.register import kept

    study = kept.require(book)
    if study.order is None:
        raise RigError(
            "the codes are not dealt yet: leave the blade out of the study file",
            where=str(book.path),
            remedy=f"then: bladerig study new FILE {book.path}",
        )
    return study


def _code(study: "Kept", code: str, book: "Logbook") -> str:
    from rig.errors import RigError

    known = set() if study.order is None else study.order.codes
    if code.strip().upper() not in known:
        raise RigError(
            f"no blade of this study has the code '{code}'", where=str(book.path), value=code,
            remedy=f"there is {', '.join(sorted(known))}",
        )  # fmt: skip
    return code.strip().upper()


def _require_procedures(study: "Kept", wanted: tuple[str, ...]) -> None:
    from rig.errors import RigError
    from rig.study.register import kept

    known = kept.procedures(study.record)
    for name in wanted:
        if name not in known:
            raise RigError(f"the study has no {name}", where="--procedure", value=name,
                           remedy=f"it has {', '.join(known)}")  # fmt: skip


def _require_there(study: "Kept", code: str, procedures: tuple[str, ...], book: "Logbook") -> None:
    from rig.errors import RigError
    from rig.study.register import kept

    wanted = procedures or tuple(kept.procedures(study.record))
    of_it = [one for one in study.lost if one.code == code]
    if all(any(one.of(name) for one in of_it) for name in wanted):
        raise RigError(
            f"blade {code} is told lost already", where=str(book.path), value=code,
            remedy=f"is it there again: bladerig study found {book.path} {code} --reason 'why'",
        )  # fmt: skip


def _ask_treatment() -> str:
    from rig.errors import RigError

    if not sys.stdin.isatty():
        raise RigError(
            "not said whether its treatment may have to do with it",
            remedy="add --from-treatment yes (it broke or warped in an earlier test), no (mislaid, "
            "dropped by somebody) or unknown",
        )
    return str(click.prompt(ASKED, type=click.Choice(["yes", "no", "unknown"]), err=True))


def _weighed(reason: str, tied: str, other_cause: str | None) -> str:
    """The reason, with what else did it where it sounds like the treatment's doing.

    Raises:
        RigError: it sounds like that, was said not to be, and nothing else is named.
    """
    from rig.errors import RigError

    if tied != "no":
        return reason
    cause = (other_cause or "").strip()
    sounds = LIKE_TREATMENT.search(reason)
    if sounds and not cause:
        raise RigError(
            f"'{reason}' with --from-treatment no: what is '{sounds.group()}' may come of the "
            "treatment",
            where="--from-treatment", value=reason,
            remedy="write unknown or yes; or say what else did it, like --other-cause 'it fell off "
            "the bench' (the report tells it)",
        )  # fmt: skip
    return f"{reason} (said to be of another cause: {cause})" if cause else reason


def _open_runs(book: "Logbook", code: str, procedures: tuple[str, ...]) -> list[int]:
    return [
        run.run_id
        for run in book.unfinished_runs()
        if str(run.params.get("specimen", "")).strip().upper() == code
        and (not procedures or run.procedure in procedures)
    ]


def _anew(book: "Logbook", trial: str) -> bool:
    """Whether a trial's test leaves the blade as it was."""
    from rig.study.register import accidents
    from rig.study.register.responses import KINDS

    kept_whole = {kind.procedure for kind in KINDS.values() if not kind.destroys}
    runs = {run.run_id: run for run in book.runs()}
    of = [run_id for run_id, _ in accidents.named_trials(book, trial)]
    return bool(of) and all(runs[run_id].procedure in kept_whole for run_id in of)
