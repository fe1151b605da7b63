"""Guard, e-stop and trips: getting the bench to where the interlock may be armed."""

from rig.board.wire import Input, Op, Reason, State
from rig.errors import RigError
from rig.guide.device import Device
from rig.guide.operator import GO_ON, Operator
from rig.guide.reasons import TEXT

LIMIT_S = 300.0
_CLEAR_EVERY_S = 0.5


def make_ready(device: Device, operator: Operator, text: str) -> None:
    """Wait until guard and e-stop are closed and no trip stands.

    A trip is cleared only after the guard was opened and closed by hand; the board itself
    insists on it.

    Raises:
        RigError: not ready within five minutes, with what is still open.
    """
    link = device.link
    device.act("ready")
    link.wait(0.25)  # let a fresh STATUS come
    end = link.clock.now() + LIMIT_S
    told = ""
    while True:
        if link.status.get("state") == State.TRIPPED:
            link.command(Op.CLEAR)
            link.wait_until(lambda: link.status.get("state") != State.TRIPPED, _CLEAR_EVERY_S)
        missing = _missing(device)
        if not missing:
            return
        if missing != told:
            operator.tell(f"{text} Not ready: {missing}.")
            told = missing
        operator.live(missing)
        if link.clock.now() > end:
            raise RigError(
                f"the bench was not ready within {LIMIT_S / 60:.0f} minutes: {missing}",
                remedy=f"put it right, {GO_ON}",
            )
        link.wait(0.1)


def _missing(device: Device) -> str:
    link = device.link
    lacking = []
    if not link.input(Input.GUARD):
        lacking.append(TEXT[Reason.GUARD_OPEN])
    if not link.input(Input.ESTOP):
        lacking.append(TEXT[Reason.ESTOP_OPEN])
    if not lacking and link.status.get("state") == State.TRIPPED:
        why = Reason(link.status.get("reason", 0))
        lacking.append(f"tripped ({TEXT[why]}): {TEXT[Reason.GUARD_NOT_CYCLED]}")
    return "; ".join(lacking)
