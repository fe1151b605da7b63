"""A run in a sealed study's logbook: its settings, its blade, its turn; refused or on record."""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rig.bench import Bench
    from rig.guide.runner import Runner
    from rig.guide.script import Script
    from rig.logbook.store import Logbook
    from rig.session.wish import Wish
    from rig.study.register.turn import Turn


def settings(
    book: "Logbook | None", script: "Script", bench: "Bench", wish: "Wish"
) -> tuple[dict[str, Any], list[str]]:
    """The settings of a new run, a study's put in; and where they are not those of the study."""
    from rig.guide.parameters import read_all, read_given
    from rig.study.register.turn import given

    read_given(script.parameters, wish.settings)  # what does not read is told as it was typed
    wanted, apart = (
        (wish.settings, []) if book is None else given(book, script, wish.settings, wish.kind)
    )
    params = read_all(script.parameters, wanted)
    script.check(params, bench)
    return params, apart


def blind(book: "Logbook", script: "Script") -> bool:
    """Whether the blade's code is read off its label: in a study whose codes are dealt."""
    from rig.study.register import kept

    study = kept.found(book)
    dealt = study is not None and study.order is not None
    return bool(dealt and study and script.name in kept.procedures(study.record))


def require_alike(apart: list[str], script: "Script", wish: "Wish") -> None:
    """Refuse a trial that is not like the study's others, unless it is to be listed only."""
    from rig.errors import RigError

    if apart and wish.out_of_turn is None:
        raise RigError(
            f"{script.name} with {'; '.join(apart)}: such a trial is not like the others",
            where=str(wish.logbook),
            remedy="leave that out, and the plan gives the study's own; or add --out-of-turn "
            "'reason' (the report lists the trial and does not compare it)",
        )


def take(
    book: "Logbook | None", script: "Script", params: dict[str, Any], wish: "Wish"
) -> "Turn | None":
    """Which blade of a sealed study the new run takes; None without a study, or on going on."""
    from rig.errors import RigError
    from rig.study.register.turn import turn

    if book is None or "specimen" not in params:
        return None
    taken = turn(book, script.name, params["specimen"])
    if taken is not None and not taken.in_turn and wish.out_of_turn is None:
        raise RigError(
            f"{script.name} on {taken.specimen} is out of turn: {taken.expected()}",
            where=str(wish.logbook),
            remedy="make that one first, or add --out-of-turn 'reason' (the report will tell it)",
        )
    return taken


def tell(runner: "Runner", script: "Script", taken: "Turn", apart: list[str], wish: "Wish") -> None:
    """Say which blade it is, and put a run out of turn or unlike the others on record."""
    from rig.study.register.kept import OUT_OF_TURN

    runner.operator.tell(f"Blade {taken.specimen} of the study.")
    if taken.in_turn and not apart:
        return
    if apart:
        said = f"this trial will be listed and NOT COMPARED: {'; '.join(apart)}"
    else:
        said = (
            f"{taken.expected()}. The report tells it; it counts only as far as trials of this "
            "blade are planned and not made"
        )
    runner.operator.tell(
        f"OUT OF TURN: {said}. If that is not meant: stop, before a blade is used."
    )
    runner.book.append(
        OUT_OF_TURN,
        {
            "procedure": script.name,
            "specimen": taken.specimen,
            "expected": taken.expected(),
            "unlike": apart,
            "reason": wish.out_of_turn,
        },
    )
