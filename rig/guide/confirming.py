"""Asking for an action with its hazards, and waiting until the person says that it is done."""

from collections.abc import Callable

from rig.guide.device import Device
from rig.guide.hazards import Warned
from rig.guide.operator import Operator
from rig.guide.steps import Do, Read, Record, Strokes, Touch


def asked(
    step: Do | Read | Record | Strokes | Touch, operator: Operator, warned: Warned, ready: str = ""
) -> Callable[[], bool]:
    """Show what to do; gives whether it was confirmed yet.

    `ready` is what the person says with it, in place of having done it.
    """
    do = step if isinstance(step, Do) else Do(step.text, hazards=step.hazards)
    return operator.confirm(do, warned.lines(step.hazards), ready)


def confirmed(
    step: Do | Read | Touch, device: Device, operator: Operator, warned: Warned, ready: str = ""
) -> None:
    """Show what to do, let virtual hands do it, and serve the line until it is confirmed."""
    said = asked(step, operator, warned, ready)
    device.act(step.hand, getattr(step, "detail", {}))
    device.until(said)
