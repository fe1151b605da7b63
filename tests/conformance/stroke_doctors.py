"""Boards wrong in one thing about strokes or drive, and the claim each of them fails."""

from collections.abc import Callable
from typing import Any

import pytest

from rig.board import conformance
from rig.board import stroke_checks as checks
from rig.board.wire import DriveState, Op, Reason, State
from rig.virtual.board import switches
from rig.virtual.board.drive import Drive
from rig.virtual.board.orders import Orders
from rig.virtual.board.safety import Safety
from rig.virtual.board.strokes import Strokes
from rig.virtual.board.switches import Switches

Patch = pytest.MonkeyPatch
Doctor = Callable[[Patch], None]


def claim_of(check: conformance.Check) -> str:
    """What the check says of a board that passes it."""
    return (check.__doc__ or "").strip().rstrip(".")


def tells_totals_too_often(patch: Patch) -> None:
    patch.setattr(switches, "COUNTS_MS", 100)


def counts_by_itself(patch: Patch) -> None:
    tell = Switches._tell_counts

    def busy(self: Switches, *rest: Any) -> None:
        self.strokes.counted += 1
        tell(self, *rest)

    patch.setattr(Switches, "_tell_counts", busy)


def takes_an_empty_band(patch: Patch) -> None:
    band = Strokes.set_band
    patch.setattr(Strokes, "set_band", lambda self, low, high: band(self, low, high) or True)


def takes_no_band(patch: Patch) -> None:
    carry_out = Orders._carry_out

    def stubborn(self: Orders, code: int, *rest: Any) -> tuple[Reason, int]:
        refused = Reason.BAD_WINDOW, 1 << Reason.BAD_WINDOW
        return refused if code == Op.STROKES else carry_out(self, code, *rest)

    patch.setattr(Orders, "_carry_out", stubborn)


def permits_a_drive_unarmed(patch: Patch) -> None:
    permit = Drive.permit

    def careless(self: Drive, nonce: int, now: Any) -> tuple[Reason, int]:
        return (Reason.NONE, 0) if nonce == 1 << 27 else permit(self, nonce, now)

    patch.setattr(Drive, "permit", careless)


def arms_a_drive_for_nothing(patch: Patch) -> None:
    arm = Drive.arm

    def eager(self: Drive, target: int, nonce: int, now: Any) -> tuple[Reason, int]:
        return (Reason.NONE, nonce) if target == 0 else arm(self, target, nonce, now)

    patch.setattr(Drive, "arm", eager)


def arms_a_drive_anywhere(patch: Patch) -> None:
    arm = Drive.arm

    def blind(self: Drive, target: int, nonce: int, now: Any) -> tuple[Reason, int]:
        return arm(self, target, nonce, now._replace(near=True, far=False))

    patch.setattr(Drive, "arm", blind)


def never_arms_a_drive(patch: Patch) -> None:
    arm = Drive.arm

    def shy(self: Drive, target: int, nonce: int, now: Any) -> tuple[Reason, int]:
        return arm(self, target, nonce, now._replace(near=False))

    patch.setattr(Drive, "arm", shy)


def takes_any_nonce_of_a_drive(patch: Patch) -> None:
    permit = Drive.permit
    patch.setattr(Drive, "permit", lambda self, nonce, now: permit(self, self._nonce or nonce, now))


def keeps_a_drive_armed_after_a_wrong_nonce(patch: Patch) -> None:
    permit = Drive.permit
    wrong = Reason.WRONG_NONCE, 1 << Reason.WRONG_NONCE

    def forgiving(self: Drive, nonce: int, now: Any) -> tuple[Reason, int]:
        return wrong if self._nonce and nonce != self._nonce else permit(self, nonce, now)

    patch.setattr(Drive, "permit", forgiving)


def never_permits_a_drive(patch: Patch) -> None:
    permit = Drive.permit

    def stubborn(self: Drive, nonce: int, now: Any) -> tuple[Reason, int]:
        known = self._nonce and nonce == self._nonce
        return (Reason.BUSY, 1 << Reason.BUSY) if known else permit(self, nonce, now)

    patch.setattr(Drive, "permit", stubborn)


def arms_a_drive_beside_the_drop(patch: Patch) -> None:
    arm = Drive.arm

    def blind(self: Drive, target: int, nonce: int, now: Any) -> tuple[Reason, int]:
        return arm(self, target, nonce, now._replace(interlock=State.HELD))

    patch.setattr(Drive, "arm", blind)


def arms_the_drop_beside_the_drive(patch: Patch) -> None:
    patch.setattr(Safety, "arm", lambda self, *given: self.interlock.arm(*given))


def is_disturbed_by_the_drive(patch: Patch) -> None:
    arm = Safety.arm_drive

    def rude(self: Safety, target: int, nonce: int) -> tuple[Reason, int]:
        answer = arm(self, target, nonce)
        if answer[0] is Reason.BUSY:
            self.interlock.disarm()
        return answer

    patch.setattr(Safety, "arm_drive", rude)


def runs_when_permitted(patch: Patch) -> None:
    permit = Drive.permit

    def eager(self: Drive, nonce: int, now: Any) -> tuple[Reason, int]:
        answer = permit(self, nonce, now)
        if answer[0] is Reason.NONE:
            self.state = DriveState.RUNNING
        return answer

    patch.setattr(Drive, "permit", eager)


WRONG: list[tuple[Doctor, str]] = [
    (tells_totals_too_often, claim_of(checks.tells_totals)),
    (counts_by_itself, claim_of(checks.tells_totals)),
    (takes_an_empty_band, claim_of(checks.refuses_an_empty_band)),
    (takes_no_band, claim_of(checks.refuses_an_empty_band)),
    (permits_a_drive_unarmed, claim_of(checks.refuses_a_drive_unarmed)),
    (arms_a_drive_for_nothing, claim_of(checks.refuses_a_drive_without_strokes)),
    (takes_any_nonce_of_a_drive, claim_of(checks.takes_a_drive_s_nonce_once)),
    (keeps_a_drive_armed_after_a_wrong_nonce, claim_of(checks.takes_a_drive_s_nonce_once)),
    (never_permits_a_drive, claim_of(checks.takes_a_drive_s_nonce_once)),
    (arms_a_drive_beside_the_drop, claim_of(checks.drop_and_drive_refuse_each_other)),
    (arms_the_drop_beside_the_drive, claim_of(checks.drop_and_drive_refuse_each_other)),
    (is_disturbed_by_the_drive, claim_of(checks.drop_and_drive_refuse_each_other)),
    (runs_when_permitted, conformance.STAYED_OFF),
    (never_arms_a_drive, claim_of(checks.arms_a_drive_at_home_only)),
]
