"""STROKE and COUNTS frames -> what they tell."""

from dataclasses import dataclass

from rig.board.frames import Frame
from rig.board.wire import DriveState, Reason, Stroke


@dataclass(frozen=True)
class StrokeTold:
    """One judged motion of the carriage.

    Attributes:
        ticks: MCU time at which the near switch closed again, or a reject was decided.
        number: full strokes of this boot, this one included.
        verdict: only COUNTED ones are full strokes.
        out_ms: from the near switch opening to the far one closing (PARTIAL: near again).
        back_ms: from then to the near switch closing; `out_ms + back_ms` is the whole stroke.
        mean, peak: load codes on the way out, of `samples` of them (0: the load was not streamed);
            peak is the one farthest from the first.
        saturated: some codes were left out of both.
    """

    ticks: int
    number: int
    verdict: Stroke
    out_ms: int
    back_ms: int
    mean: int
    peak: int
    samples: int
    saturated: bool


@dataclass(frozen=True)
class Counts:
    """Totals of one boot at `ticks`; the rejects modulo 2**14.

    Attributes:
        near, far: end switches closed.
        drive, drive_reason: its state and what brought it there.
        target_left: strokes the drive still has to do, or had when it stopped.
    """

    ticks: int
    counted: int
    partial: int
    too_fast: int
    too_slow: int
    both_closed: int
    wrong_order: int
    stuck: int
    near: bool
    far: bool
    drive: DriveState
    drive_reason: Reason
    target_left: int


def stroke(frame: Frame) -> StrokeTold | None:
    """What a STROKE frame tells; None for a verdict this version has no word for."""
    told = frame.fields()
    try:
        verdict = Stroke(told.pop("verdict"))
    except ValueError:
        return None
    saturated = bool(told.pop("saturated"))
    return StrokeTold(ticks=frame.ticks, verdict=verdict, saturated=saturated, **told)


def counts(frame: Frame) -> Counts | None:
    """What a COUNTS frame tells; None for a drive state this version has no word for."""
    told = frame.fields()
    switches = told.pop("switches")
    try:
        state, reason = DriveState(told.pop("drive")), Reason(told.pop("drive_reason"))
    except ValueError:
        return None
    return Counts(
        ticks=frame.ticks,
        near=bool(switches & 1),
        far=bool(switches >> 1 & 1),
        drive=state,
        drive_reason=reason,
        **told,
    )
