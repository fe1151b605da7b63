"""What happened beside the plan of a run, in words."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from rig.board.wire import Reason
from rig.guide.driving import ENDED as DRIVE_ENDED
from rig.guide.driving import NOT_HOME
from rig.guide.reasons import TEXT
from rig.guide.runner import INTERRUPTED, RESUMED
from rig.guide.stretch import RESTARTED, SAID
from rig.logbook.journal import CORRECTED, RUN_ENDED
from rig.logbook.records import Row, Run

NOT_RECORDED, NOT_MEASURED = "not recorded", "not measured"
TWICE, EARLY = "asked_twice", "begun early"
KINDS = {
    INTERRUPTED, RESUMED, "line", "permit_ended", "tower_changed", "check_out", DRIVE_ENDED,
    CORRECTED, TWICE,
}  # fmt: skip
WHEN = "%Y-%m-%d %H:%M:%S"
MOTOR = {
    RESTARTED: "the board was restarted",
    SAID: "paused from the keyboard",
    Reason.OUTSIDE_WINDOW.name: NOT_HOME.partition(":")[0],
}
"""Ends of the motor's running that are told otherwise than the interlock tells them."""


def told(kind: str, body: Mapping[str, Any]) -> str | None:
    """One line for a row of the journal, or for a release without a record; None for no aside."""
    if kind == INTERRUPTED:
        return f"the run stopped: {body['why']}"
    if kind == RESUMED:
        return f"the run went on, {body['at_step']} steps done before"
    if kind == "line":
        return f"the line to the board: {body['what']}"
    if kind == "permit_ended":
        return f"a release was not made: {_reason(str(body['reason']))}"
    if kind == DRIVE_ENDED:
        return _motor(body)
    if kind == "tower_changed":
        change = f"{100 * body['change']:+.1f} %"
        return f"the tower's acceleration changed by {change}; the reason given: {body['reason']}"
    if kind == "check_out":
        return f"the check of the load cell: {body['text']}; the reason given: {body['reason']}"
    if kind == CORRECTED:
        return (
            f"an answer was changed from {body['first']} to {body['now']}; the reason given: "
            f"{body['reason']} ({body['question']})"
        )
    if kind == TWICE:
        first = ", then ".join(body["first"])
        return f"{body['key']}: {first} was typed and asked for once more; {body['counts']} counts"
    if kind == EARLY:
        return f"{body['trial']}: begun before it was called for; recorded from its beginning"
    if kind == NOT_MEASURED:
        return f"{body['trial']}: recorded (raw row {body['raw_id']}), nothing was worked out of it"
    return f"{body['trial']}: permitted, and nobody recorded whether the carriage fell"


def silent(rows: Sequence[Row], run: Run) -> Iterator[tuple[Row, str]]:
    """Where a run stopped and no row says why: its program was killed, or the power went.

    Gives the row after which it is seen, and the words.
    """
    before: Row | None = None
    for row in rows:
        if before is not None and before.kind != INTERRUPTED:
            stopped = f"the run stopped without a word at or after {before.at_utc:{WHEN}}"
            if row.kind == RESUMED:
                yield row, f"{stopped} (killed, or the power went), gone on at {row.at_utc:{WHEN}}"
            elif row.kind == RUN_ENDED and row.body["outcome"] == "abandoned":
                yield row, f"{stopped} (killed, or the power went), given up at {row.at_utc:{WHEN}}"
        before = row
    if before is not None and run.outcome is None and before.kind != INTERRUPTED:
        yield before, "no row after this one: the run goes on still, or stopped without a word"


def _motor(body: Mapping[str, Any]) -> str | None:
    """Why the motor stopped; nothing when it made what it was permitted."""
    why = str(body["reason"])
    if why == Reason.TARGET.name:
        return None
    return f"{body['trial']}: the motor stopped: {MOTOR.get(why) or _reason(why)}"


def _reason(name: str) -> str:
    """The interlock's reason without what to do about it, which was for the person there."""
    return TEXT[Reason[name]].partition(":")[0] if name in Reason.__members__ else name
