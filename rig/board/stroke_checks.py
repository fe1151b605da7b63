"""Does a board count strokes and keep its drive as the wire says? Part of `conformance`.

Nothing here needs a hand and nothing turns: no check presses the button.
"""

from rig.board import wire
from rig.board.link import Link, Reply
from rig.board.wire import DriveState, Op, Reason

NOT_FITTED = "not fitted"
_NEVER = 1 << 27  # a nonce the board has not given
_PERIOD_S = wire.LIMITS["COUNTS_PERIOD_MS"] / 1e3


def tells_totals(link: Link) -> str:
    """The totals of strokes come twice a second and none is counted with the carriage at rest."""
    seen: dict[int, tuple[int, ...]] = {}

    def look() -> bool:
        told = link.counts
        if told is not None:
            rejects = told.partial, told.too_fast, told.too_slow
            faults = told.both_closed, told.wrong_order, told.stuck
            seen[told.ticks] = (told.counted, *rejects, *faults)
        return False

    link.wait_until(look, 4 * _PERIOD_S + 0.1)
    if not 3 <= len(seen) <= 6:
        return f"{len(seen)} in {4 * _PERIOD_S:g} s"
    return "" if len(set(seen.values())) == 1 else "they changed: does the carriage move?"


def refuses_an_empty_band(link: Link) -> str:
    """An empty band of stroke times is refused, a band that holds is taken."""
    reply = link.command(Op.STROKES, min_ms=700, max_ms=700)
    if reply.reason is not Reason.BAD_WINDOW:
        return f"it answered {reply.reason.name}"
    usual = link.command(
        Op.STROKES, min_ms=wire.LIMITS["STROKE_MIN_MS"], max_ms=wire.LIMITS["STROKE_MAX_MS"]
    )
    return "" if usual.done else f"the usual one was refused: {usual.reason.name}"


def refuses_a_drive_unarmed(link: Link) -> str:
    """A permit of the drive without arming is refused."""
    reply = link.command(Op.DRIVE_PERMIT, nonce=_NEVER)
    return "" if reply.reason is Reason.NOT_ARMED else f"it answered {reply.reason.name}"


def refuses_a_drive_without_strokes(link: Link) -> str:
    """Arming the drive for no strokes is refused."""
    link.command(Op.DISARM)
    reply = link.command(Op.DRIVE_ARM, target=0)
    return "" if reply.reason is Reason.BAD_WINDOW else f"it answered {reply.reason.name}"


def arms_a_drive_at_home_only(link: Link) -> str:
    """The drive is armed with the carriage home and all safe, else refused with every reason."""
    link.command(Op.DISARM)
    told = _fresh(link)
    if told:
        return told
    reply = link.command(Op.DRIVE_ARM, target=1)
    link.command(Op.DRIVE_STOP)
    wanted = _in_the_way(link)
    if reply.done:
        names = ", ".join(sorted(reason.name for reason in wanted))
        return f"it was granted in spite of {names}" if wanted else ""
    named = set(reply.unmet())
    if not wanted:
        return f"it was refused: {', '.join(sorted(reason.name for reason in named))}"
    return "" if wanted <= named else f"it named {sorted(reason.name for reason in named)}"


def drop_and_drive_refuse_each_other(link: Link) -> str:
    """While the drop is armed the drive is refused, and while the drive is armed the drop is."""
    link.command(Op.DISARM)
    link.wait(wire.LIMITS["STEADY_MS"] / 1e3 + 0.2)
    height = link.status["height"]
    drop = {"low": height - 40, "high": height + 40}
    armed = link.command(Op.ARM, **drop)
    if not armed.done:
        return _not_checked(armed)
    refused = link.command(Op.DRIVE_ARM, target=1)
    link.wait(2 * wire.LIMITS["STATUS_PERIOD_MS"] / 1e3)
    still = link.status["state"] == wire.State.ARMED
    link.command(Op.DISARM)
    if refused.reason is not Reason.BUSY:
        return f"the drive's arming was answered {refused.reason.name}"
    if not still:
        return "the drop was disturbed by it"
    return _drop_beside_drive(link, drop)


def _drop_beside_drive(link: Link, drop: dict[str, int]) -> str:
    armed = link.command(Op.DRIVE_ARM, target=1)
    if not armed.done:
        return _no_drive(armed)
    refused = link.command(Op.ARM, **drop)
    link.command(Op.DRIVE_STOP)
    held = refused.reason is Reason.BUSY
    return "" if held else f"the drop's arming was answered {refused.reason.name}"


def takes_a_drive_s_nonce_once(link: Link) -> str:
    """A wrong number takes the drive's arming back, the right one permits it, a stop ends it."""
    link.command(Op.DISARM)
    armed = link.command(Op.DRIVE_ARM, target=1)
    if not armed.done:
        return _no_drive(armed)
    trouble = _of_nonces(link, armed.value)
    link.command(Op.DRIVE_STOP)
    off = link.wait_until(
        lambda: link.counts is not None and link.counts.drive is DriveState.OFF, 2 * _PERIOD_S
    )
    return trouble or ("" if off else "it was not stopped")


def _of_nonces(link: Link, nonce: int) -> str:
    if link.command(Op.DRIVE_PERMIT, nonce=nonce ^ 1 or 2).reason is not Reason.WRONG_NONCE:
        return "a wrong number was not refused as such"
    if link.command(Op.DRIVE_PERMIT, nonce=nonce).reason is not Reason.NOT_ARMED:
        return "it stayed armed after a wrong number"
    again = link.command(Op.DRIVE_ARM, target=1)
    taken = link.command(Op.DRIVE_PERMIT, nonce=again.value)
    return "" if taken.done else f"the right number was answered {taken.reason.name}"


def _fresh(link: Link) -> str:
    """Wait for totals newer than now; what is wrong when none come."""
    before = link.counts.ticks if link.counts else None
    came = link.wait_until(
        lambda: link.counts is not None and link.counts.ticks != before, 2 * _PERIOD_S
    )
    return "" if came else "no totals came"


def _in_the_way(link: Link) -> set[Reason]:
    """Reasons that must be named, by what the board itself tells."""
    told = link.counts
    reasons = set() if told is not None and told.near else {Reason.OUTSIDE_WINDOW}
    reasons |= {Reason.SWITCH_FAULT} if told is not None and told.far else set()
    reasons |= set() if link.input(wire.Input.GUARD) else {Reason.GUARD_OPEN}
    reasons |= set() if link.input(wire.Input.ESTOP) else {Reason.ESTOP_OPEN}
    if link.status["state"] == wire.State.TRIPPED:
        return {Reason.TRIPPED}  # named alone
    return reasons


def _no_drive(reply: Reply) -> str:
    """Why nothing could be seen of an armed drive.

    A board alone, without cutting frame, must be able to pass: with no end switch closed that is
    told and not held against it. A carriage at its far end is there, so its check is missing.
    """
    unmet = set(reply.unmet())
    if Reason.OUTSIDE_WINDOW in unmet and Reason.SWITCH_FAULT not in unmet:
        return f"{NOT_FITTED}: no carriage at home, so nothing was seen of an armed drive"
    return _not_checked(reply)


def _not_checked(reply: Reply) -> str:
    unmet = ", ".join(reason.name for reason in reply.unmet())
    return f"not checked, arming was refused: {unmet}"
