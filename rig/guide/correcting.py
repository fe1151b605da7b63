"""Changing an answer within its run: the first value stays in the journal, beside the reason.

An answer can be changed until a blade is used by what it was given for: a release, a guarded pull,
counted strokes, or a verdict close what went before. The steps done since the answer are taken
back in the journal and gone through again; those that stay the same keep their outcomes.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from rig.errors import RigError
from rig.guide.answers import shown, understood
from rig.guide.performer import Performer
from rig.guide.steps import Ask, plain
from rig.guide.words import SaidBack
from rig.logbook.journal import CORRECTED, STEP

Done = dict[str, Any]  # the body of a step's row
CLOSING = ("Release", "Strokes")
CLOSING_NOTES = ("verdict", "certificate")
AGAIN = ("Note", "Measure")  # done anew after a correction: what they hold may have changed
NOTHING = "No answer to change here: what you typed before this blow, pull or cut is used."
SLIP = "mistyped"


def _closes(step: Mapping[str, Any]) -> bool:
    return bool(
        step["step"] in CLOSING
        or (step["step"] == "Record" and step.get("guarded"))
        or (step["step"] == "Note" and step["kind"] in CLOSING_NOTES)
    )


def changeable(done: Sequence[Done], now: Mapping[str, Any] | None = None) -> list[int]:
    """Places of the answers that can still be changed, the last one first.

    One that was refused, so that the same question came again, is none.

    Args:
        done: bodies of the steps' rows.
        now: the step under way.
    """
    found = []
    for place in range(len(done) - 1, -1, -1):
        step = done[place]["step"]
        if _closes(step):
            break
        if step["step"] == "Ask" and step != now:
            found.append(place)
        if step["step"] != "Tell":
            now = step
    return found


@dataclass
class Kept:
    """Outcomes that steps had before an answer was changed, for those that come again."""

    rows: list[Done] = field(default_factory=list)

    def outcome(self, step: Mapping[str, Any]) -> Mapping[str, Any] | None:
        """Of the same step, done before; None when it has to be done."""
        if step["step"] in AGAIN:
            return None
        for place, row in enumerate(self.rows):
            if row["step"] == step:
                del self.rows[: place + 1]
                return dict(row["outcome"])
            if row["step"]["step"] not in ("Ask", "Tell", *AGAIN):
                break  # something was done by hand there: never skipped
        if step["step"] not in ("Ask", "Tell"):
            self.rows.clear()
        return None


def correct(performer: Performer, done: list[Done], now: Mapping[str, Any] | None = None) -> Kept:
    """Ask for the right answer in place of an earlier one; `done` then ends with it.

    Gives what may be kept of the steps after it; `done` stays whole when nothing is changed. `now`
    is the step at which the person went back.
    """
    for place in changeable(done, now):
        row = done[place]
        try:
            told = _new_answer(performer, row)
            if told is None or told == row["outcome"]:
                performer.operator.tell("It stays as it was.")
                return Kept()
            why = _reason(performer)
        except SaidBack:
            continue
        return _put(performer, done, place, told, why)
    performer.operator.tell(NOTHING)
    return Kept()


def _new_answer(performer: Performer, row: Done) -> Mapping[str, Any] | None:
    step = row["step"]
    fields = {name: step[name] for name in ("key", "kind")} | {"choices": tuple(step["choices"])}
    was = shown(step["kind"], row["outcome"])
    text = f"You answered {was} to: {step['text']}"
    ask = Ask(f"{text} - Right answer? (Enter keeps it; back: the one before)", **fields)
    while typed := performer.typed(ask).strip():
        try:
            return dict(plain(dict(understood(ask, typed))))
        except RigError as error:
            performer.operator.tell(str(error))
    return None


def _reason(performer: Performer) -> str:
    """Why it is changed; the answer to the next question, typed too soon, is no reason."""
    while True:
        why = performer.typed(Ask("Why is it changed?", key="why", default=SLIP)).strip() or SLIP
        if re.search(r"[^\W\d_]{2}", why) and not re.match(r"[-+]?[.\d]", why):
            return why
        performer.operator.tell(
            f"'{why}' looks like an answer, and this asks for the reason: Enter says {SLIP}."
        )


def _put(
    performer: Performer, done: list[Done], place: int, told: Mapping[str, Any], why: str
) -> Kept:
    book, row = performer.book, done[place]
    gone = done[place:]
    notes = [one["outcome"]["row"] for one in gone if one["step"]["step"] == "Note"]
    body = {"index": row["index"], "step": row["step"], "outcome": dict(told)}
    with book.transaction():
        book.append(
            CORRECTED,
            {
                "index": row["index"], "question": row["step"]["text"],
                "first": shown(row["step"]["kind"], row["outcome"]),
                "now": shown(row["step"]["kind"], told), "reason": why, "notes": notes,
            },
            performer.run_id,
        )  # fmt: skip
        book.append(STEP, body, performer.run_id)
    performer.operator.tell(
        f"Changed to {shown(row['step']['kind'], told)}; what you typed first stays on record."
    )
    del done[place:]
    done.append(body)
    return Kept(gone[1:])
