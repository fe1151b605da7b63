"""`bladerig board ...`: ports, self-check, firmware."""

import json
from dataclasses import replace
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from rig.board.conformance import Finding
    from rig.board.link import Link


NOT_SEEN = (
    "Not looked at: the brown-out level of the board's fuses (a boot loader often leaves 2.7 V; "
    "4.3 V is wanted), the contacts 2 that cut the 12 V, and what hangs on the outputs."
)


@click.group()
def board() -> None:
    """The board: find it, check it, put the firmware on it."""


@board.command(name="list")
@click.option("--ask", "asks", is_flag=True, help="Open each port and see what answers.")
@click.option("--yes", is_flag=True, help="With --ask: open them without a question.")
@click.option("--json", "as_json", is_flag=True, help="For programs.")
def list_(asks: bool, yes: bool, as_json: bool) -> None:
    """List serial ports, with what is remembered of each; none is opened.

    With --ask each is opened at the board's speed to see what answers (up to 3 s each), after a
    question: THAT CAN RESTART WHAT IS ON IT, a kiln or a mill at work. What answered is
    remembered, so that a run opens the board's port alone.

    \b
    Examples:
      bladerig board list
      bladerig board list --ask
    """
    from rig.board import known, ports
    from rig.session import port_choice

    there = ports.attached()
    if not there and not as_json:
        click.echo(f"{port_choice.NOTHING}, or practise with: bladerig run ... --virtual")
        return
    if asks and there:
        if not yes:
            port_choice.require_leave(there)
        for port in there:
            (found,) = port_choice.ask([port])
            if not as_json:
                mark = "*" if found.ours else " "
                click.echo(f"{mark} {found.port}  {found.answer}  ({found.hardware})")
    told = known.load(port_choice.memory())
    if as_json:
        click.echo(json.dumps([{**vars(p), "is": port_choice.standing(p, told)} for p in there]))
    elif not asks:
        for one in there:
            mark = "*" if told.board and one.identity == told.board else " "
            click.echo(f"{mark} {one.port}  {port_choice.standing(one, told)}  ({one.hardware})")


@board.command()
@click.option("--port", help="Port of the board; left out, the one remembered, or asked for.")
@click.option("--virtual", is_flag=True, help="Check the virtual rig's stand-in board.")
@click.option("--yes", is_flag=True, help="Do not ask: pin is in, motor unplugged (for scripts).")
@click.option("--json", "as_json", is_flag=True, help="For programs.")
def check(port: str | None, virtual: bool, yes: bool, as_json: bool) -> int:
    """Does the board behave as it must? About half a minute.

    IT ARMS AND PERMITS the drop and the drive, for an instant each: the program releases nothing,
    but a press of the button then would. So pin in, motor unplugged, nobody near the button. At a
    real board it asks for that first.

    BEFORE YOU START: close the guard, release the e-stop, let the carriage be still. Five checks
    arm the interlock and need that: wrong number, number used once, drop or drive, trip on silence,
    trip stays.
    With the guard open they are NOT MADE, and count as failures: a board nobody looked at is not
    in order. Close the guard and check again.

    The last checks leave the interlock tripped on purpose: open and close the guard afterwards.

    \b
    Example:  bladerig board check --port /dev/ttyUSB0
    """
    from rig import bench as benches
    from rig.board import conformance
    from rig.session.devices import open_device

    if not (virtual or yes):
        _require_safe()  # before the line is opened: nobody serves it while a person reads
    device = open_device(port, virtual=virtual, bench=benches.load(None))
    findings = []
    try:
        if virtual:
            device.act("ready")
        unready = _unready(device.link)
        if unready and not as_json:
            click.echo(f"NOT READY: {unready}. {NEEDED}\n")
        for found in conformance.run(device.link):
            finding = _fair(found, tripped="tripped" in unready)
            findings.append(finding)
            if not as_json:
                click.echo(_line(finding))
    finally:
        device.link.exit()
    if as_json:
        told = [
            {"claim": f.claim, "holds": f.holds, "made": _made(f), "trouble": f.trouble}
            for f in findings
        ]
        click.echo(json.dumps({"holds": all(f.holds for f in findings), "findings": told}))
    else:
        click.echo(NOT_SEEN)
        click.echo(_summary(findings))
    return 0 if all(f.holds for f in findings) else 1


def _require_safe() -> None:
    """Show what can move and ask whether it is held.

    Raises:
        RigError: it is not, or nobody answers.
    """
    from rig.errors import RigError
    from rig.guide.hazards import LINES

    for key in ("falling_mass", "driven_blade"):
        click.echo(f"! {LINES[key]}", err=True)
    try:
        safe = click.confirm(SAFE, err=True)
    except click.Abort:
        safe = False
    if not safe:
        raise RigError(
            "nothing was checked",
            where="board check",
            remedy="put the pin in, unplug the motor, then check again (--yes: do not ask)",
        )


SAFE = (
    "The check arms and permits drop and drive for an instant; a press of the button then "
    "releases or starts. Pin in, motor unplugged, nobody near the button?"
)
NEEDED = (
    "The checks that arm the interlock cannot be made and will count as failures. For all of "
    "them: close the guard, release the e-stop, let the carriage be still, then check again."
)


def _unready(link: "Link") -> str:
    """What will keep the interlock from arming, in words; empty when nothing will."""
    from rig.board.wire import Input, Op, State

    link.wait(0.25)  # let a fresh STATUS come
    if link.status.get("state") == State.TRIPPED:
        link.command(Op.CLEAR)  # granted only after the guard was opened and closed by hand
        link.wait(0.25)
    lacking = [] if link.input(Input.GUARD) else ["the guard is open"]
    lacking += [] if link.input(Input.ESTOP) else ["the e-stop is pressed"]
    if link.status.get("state") == State.TRIPPED:
        lacking.append("the interlock is tripped (open the guard, look, close it)")
    return ", ".join(lacking)


def _fair(finding: "Finding", *, tripped: bool) -> "Finding":
    """A board that stood tripped when the checks began is not to blame for refusing to arm."""
    if finding.holds or not tripped or "TRIPPED" not in finding.trouble:
        return finding
    return replace(finding, trouble="not checked, the interlock was tripped before")


def _made(finding: "Finding") -> bool:
    return not finding.trouble.startswith("not checked")


def _line(finding: "Finding") -> str:
    mark = "ok" if finding.holds else "FAIL" if _made(finding) else "NOT MADE"
    if not finding.fitted:
        mark = "no part"  # what it is about is not on this bench
    return f"{mark:8}  {finding.claim}" + (f": {finding.trouble}" if finding.trouble else "")


def _summary(findings: "list[Finding]") -> str:
    held = sum(finding.holds for finding in findings)
    unmade = sum(not _made(finding) for finding in findings)
    told = f"{held} of {len(findings)} hold"
    if not unmade:
        return told
    return (
        f"{told}; {unmade} NOT MADE, so this board is not proved in order. Close the guard, "
        "release the e-stop, let the carriage be still, then check again."
    )


@board.command()
@click.option("--port", required=True, help="Port of the board.")
def flash(port: str) -> None:
    """Put the firmware that comes with this program on an ATmega328P board.

    \b
    Example:  bladerig board flash --port /dev/ttyUSB0
    """
    from rig.board import flash as flashing
    from rig.commands import typed

    flashing.tool_for(port)  # nothing is said to be under way before it can be
    click.echo(f"{port}: writing {flashing.image().name} ...")
    check = typed("bladerig", "board", "check", "--port", port)
    click.echo(f"{port}: {flashing.flash(port)}; next: {check}")
