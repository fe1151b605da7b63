"""The words a procedure is written in.

A procedure is a generator: it yields one of these steps, and gets back what came of it as a plain
mapping. It never touches a port, a clock or a screen, so a run can be resumed by replaying its
journal, and tested with a scripted operator in virtual time.
"""

import json
from collections.abc import Generator, Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, TypeVar

Outcome = Mapping[str, Any]


@dataclass(frozen=True)
class Step:
    """Base of all steps. `text` is what the person at the bench reads."""

    text: str

    def described(self) -> dict[str, Any]:
        """The step as plain data, as journaled and as compared on resume."""
        return {"step": type(self).__name__, **asdict(self)}


@dataclass(frozen=True)
class Tell(Step):
    """Something to read; nothing to do. Outcome: empty."""


@dataclass(frozen=True)
class Do(Step):
    """One action by hand, confirmed by the person. Outcome: empty.

    `hand` names the same action for the virtual rig's hands; `hazards` are keys of safety.md
    lines that are shown and must be acknowledged with the action.
    """

    hand: str = ""
    detail: Mapping[str, float | str] = field(default_factory=dict)
    hazards: tuple[str, ...] = ()


@dataclass(frozen=True)
class Ask(Step):
    """A question. Outcome: `value`, a float in SI for a quantity, else text; of a file its path,
    and `sha256` of what is in it ("none" and "" when there is none).

    `kind`: "text", "number" (kept as typed), "choice", "file" or a dimension of rig.units
    ("length", "energy", ...). `key` names the answer in the journal and for scripted operators.
    """

    key: str
    kind: str = "text"
    choices: tuple[str, ...] = ()
    default: str = ""


@dataclass(frozen=True)
class Ready(Step):
    """Wait until guard and e-stop loops are closed. Outcome: `boot`."""


@dataclass(frozen=True)
class Touch(Step):
    """Read the height at rest with the striker on the specimen.

    Outcome: `counts` (median), `spread_counts`, `boot`.
    """

    hand: str = "lower"
    hazards: tuple[str, ...] = ()


@dataclass(frozen=True)
class Raise(Step):
    """Guide the carriage into a band of heights and wait until it is steady there.

    Heights are in counts above the encoder's own zero, which holds for one boot of the board
    only. Outcome: `counts` (None when contact has to be found again), `boot`, `why`: RESTARTED
    (the board is not in that boot any more), READS_LOWER (more than 20 mm below contact), SAID
    (the person takes the contact back), FELL (it came down like nothing that is held), else "".
    With `renewed` (contact was just found again because it read lower) a height that falls once
    more is told as the encoder's fault.
    """

    target_counts: float
    low_counts: float
    high_counts: float
    zero_counts: float
    count_m: float
    boot: int
    renewed: bool = False


@dataclass(frozen=True)
class Release(Step):
    """Arm, permit, wait for the hand on the button, record the fall.

    Outcome: `raw_id` (None when nothing was recorded), `ended` (name of the interlock's reason;
    RESTARTED when the board is not in `boot` any more, SAID when the person takes the contact
    back, DOWN when the carriage came down before the permit, INTERRUPTED when the program died
    after the permit, UNSEEN when the line was lost), `released` (whether the latch was opened;
    None when nobody knows), `boot`, `time_base`.
    """

    trial: str
    low_counts: int
    high_counts: int
    boot: int
    zero_counts: float | None = None  # at contact; left out, a carriage that is down is not told


@dataclass(frozen=True)
class Read(Step):
    """Read a channel at rest: the person confirms, it settles, a stretch is recorded.

    `channel`: "load" (codes), "angle" (sums) or "height" (counts). `held`: a hand keeps hold
    meanwhile. `by_itself`: nothing to confirm, since no hand is there any more. `name_spikes`:
    single values far from all others are named; steps of earlier programs do not have it.
    Outcome: `raw_id`, `result_id`, `boot`, and the reading: `mean`, `sd`, `n`, `span_s`, `drift`,
    `reasons` (what stands against it).
    """

    channel: str
    trial: str
    settle_s: float
    read_s: float
    hand: str = ""
    detail: Mapping[str, float | str] = field(default_factory=dict)
    hazards: tuple[str, ...] = ()
    held: bool = False
    by_itself: bool = False
    name_spikes: bool = True


@dataclass(frozen=True)
class Record(Step):
    """Record load and angle while a hand moves the arm, from rest until it is let back.

    The person reads `text` and confirms that it is understood; the recording runs by then, and
    `now` calls for the motion. One that was begun sooner is recorded all the same. `torque` and
    `angle` are scales (`rig.measure.scales`) for the live read-out and for `stop` (see
    `rig.guide.watch`); the result is computed from the raw frames. `after` is what to do when it
    has stopped, until the torque stays below `rest_nm`. `guarded`: a blade is used up by it, so
    not before guard and e-stop are closed, and never twice.
    Outcome: `raw_id`, `ended` (what stopped it, or UNSEEN when the line was lost), `early` (begun
    before it was called for), `boot`, `time_base`.
    """

    trial: str
    torque: Mapping[str, Any]
    angle: Mapping[str, Any]
    zero_code: float
    rate_low_rad_s: float
    rate_high_rad_s: float
    stop: Mapping[str, float]
    rest_nm: float
    hand: str = ""
    detail: Mapping[str, float | str] = field(default_factory=dict)
    hazards: tuple[str, ...] = ()
    after: str = ""
    after_hand: str = ""
    guarded: bool = False
    now: str = "NOW"


@dataclass(frozen=True)
class Strokes(Step):
    """Count full strokes of the cutting carriage until there are `count` of them.

    They count from when the text is shown; `now` calls for them. `by_itself`: nothing to confirm,
    since the step before it has told all.
    `driven`: by the motor (armed, permitted, started by hand), else drawn by hand. A full stroke
    takes `min_ms` to `max_ms`; `load` streams the load cell, so that each has a cutting force.
    Outcome: `counted` and `rejected` (by reason), whoever started or killed the program meanwhile,
    `ended` (COUNT; SAID when the person paused it; RESTARTED when the board was restarted and
    strokes may have been made unseen; else the drive's reason), `mean_codes` (one for each counted
    stroke that has one, in order), `saturated`, `raw_ids`, `boot`.
    """

    trial: str
    count: int
    driven: bool
    min_ms: int
    max_ms: int
    load: bool = False
    hand: str = ""
    detail: Mapping[str, float | str] = field(default_factory=dict)
    hazards: tuple[str, ...] = ()
    by_itself: bool = False
    now: str = "NOW"


@dataclass(frozen=True)
class Measure(Step):
    """Compute a result from raw frames in the logbook. Outcome: the result as stored.

    `raw_id` is None for one computed from earlier readings alone, which `settings` then hold.
    """

    measurand: str
    trial: str
    raw_id: int | None
    settings: Mapping[str, Any]


@dataclass(frozen=True)
class Recall(Step):
    """Look up what was noted under `kind`, this run or earlier, not older than `hours`.

    Outcome: `found` (bodies, newest first, at most `limit`), `boot` (of the board now).
    """

    kind: str
    hours: float
    limit: int = 30


@dataclass(frozen=True)
class Note(Step):
    """Put a value in the journal under its own kind. Outcome: empty."""

    kind: str
    body: Mapping[str, Any]


T = TypeVar("T")
Passage = Generator[Step, Outcome, T]  # part of a procedure, giving back a T
Procedure = Passage[Mapping[str, Any]]


def plain(value: Any) -> Any:
    """As it will come back from the journal, so that a resumed script sees the very same.

    Raises:
        TypeError, ValueError: it has no exact JSON form (NaN has none).
    """
    return json.loads(json.dumps(value, allow_nan=False))
