"""Guard, e-stop and trips: getting the bench to where the interlock may be armed."""

from rig.board.wire import Input, Op, Output, Reason, State
from rig.errors import RigError
from rig.guide.device import Device
from rig.guide.operator import GO_ON, Operator
from rig.guide.reasons import TEXT

LIMIT_S = 300.0
_CLEAR_EVERY_S = 0.5
FRESH_S = 0.25  # STATUS comes every 0.1 s
SOLENOIDS = (Output.LATCH, Output.CATCH)
AT_REST = (State.HELD, State.TRIPPED)


def make_ready(device: Device, operator: Operator, text: str) -> None:
    """Wait until guard and e-stop are closed and no trip stands.

    A trip is cleared only after the guard was opened and closed by hand; the board itself
    insists on it.

    Raises:
        RigError: not ready within five minutes, with what is still open; or the board energises
            what nobody permitted.
    """
    link = device.link
    device.act("ready")
    link.wait(FRESH_S)  # let a fresh STATUS come
    require_off(device)
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


def require_off(device: Device) -> None:
    """The board must not energise what can drop while nothing is permitted.

    STATUS tells the pins as they are, whatever the interlock meant. Looked at twice, so that a
    release that ends just now is none.

    Raises:
        RigError: naming the output.
    """
    link = device.link
    for _ in range(2):
        told = link.status
        on = [one for one in SOLENOIDS if told.get("outputs", 0) >> one & 1]
        if not on or told.get("state") not in AT_REST:
            return
        link.wait(FRESH_S)
    names = " and ".join(one.name.lower() for one in on)
    raise RigError(
        f"the board energises the {names} though nothing is permitted",
        where="board",
        remedy="12 V plug out NOW, hands and head out, pin in from the side; then bladerig board "
        "check, and another board if it says so",
    )


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
