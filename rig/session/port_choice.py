"""Which port to open: named, remembered, or asked for. None is opened unasked.

Opening a port at the board's speed, and the pulse on its reset line, restart many controllers: of a
kiln, a mill, a printer at work.
"""

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rig.board import known
from rig.errors import RigError

if TYPE_CHECKING:
    from rig.board.ports import Found, Port

NOTHING = "no serial port with a device on it: plug the board in"
CAUTION = (
    "Opening a port can restart what is on it: first unplug a kiln, a mill or any other machine "
    "that must not stop."
)


def memory() -> Path:
    """Where the ports found are remembered."""
    return Path(click.get_app_dir("bladerig")) / "ports.json"


def chosen() -> str:
    """The port of the board when none was named: the remembered one, else searched after asking.

    Raises:
        RigError: there is none, several answer, or opening was not allowed.
    """
    from rig.board import ports

    there, told = ports.attached(), known.load(memory())
    if not there:
        raise RigError(NOTHING, remedy="or practise with --virtual")
    for one in there:
        if told.board and one.identity == told.board:
            return one.port
    new = [one for one in there if one.identity not in told.others]
    if not new:
        raise RigError(
            f"what is on {_names(there)} was found not to be the board",
            where="ports",
            remedy="plug the board in; if it is one of these, name it with --port",
        )
    require_leave(new)
    return ports.the_one(ask(new))


def require_leave(there: "Sequence[Port]") -> None:
    """Ask a person before ports are opened.

    Raises:
        RigError: not allowed, or nobody is there to ask.
    """
    allowed = False
    if sys.stdin.isatty():
        for one in there:
            click.echo(f"  {one.port}  {one.hardware}", err=True)
        click.echo(f"! {CAUTION}", err=True)
        try:
            allowed = click.confirm("Open them one by one to find the board?", err=True)
        except click.Abort:
            allowed = False
    if not allowed:
        raise RigError(
            f"which port is the board's is not known ({_names(there)}), and none was opened",
            where="ports",
            remedy="name it once with --port; it is remembered",
        )


def ask(there: "Sequence[Port]") -> "list[Found]":
    """What answers on each; remembered."""
    from rig.board import ports

    found = [ports.ask(one.port, one.hardware) for one in there]
    told = known.load(memory())
    for one, answer in zip(there, found, strict=True):
        told = told.found(one.identity) if answer.ours else told.not_ours(one.identity)
    known.save(memory(), told)
    return found


def remember(port: str) -> None:
    """The board answered here."""
    from rig.board import ports

    for one in ports.attached():
        if one.port == port:
            known.save(memory(), known.load(memory()).found(one.identity))


def forget() -> None:
    """Nothing of ours answered at the remembered port: ask again next time."""
    known.save(memory(), known.load(memory()).forgotten())


def standing(one: "Port", told: known.Known) -> str:
    """What a port is, as far as it is remembered."""
    if told.board and one.identity == told.board:
        by = "" if "SER=" in one.identity else " by its socket (its adapter has no number)"
        return f"the board, as remembered{by}"
    return "something else, as remembered" if one.identity in told.others else "not asked yet"


def _names(there: "Sequence[Port]") -> str:
    return ", ".join(one.port for one in there)
