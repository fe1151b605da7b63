"""`bladerig board ...`: ports, self-check, firmware."""

import json

import click


@click.group()
def board() -> None:
    """The board: find it, check it, put the firmware on it."""


@board.command(name="list")
@click.option("--json", "as_json", is_flag=True, help="For programs.")
def list_(as_json: bool) -> None:
    """List serial ports with what answers on each (asks every port, up to 3 s each).

    \b
    Example:  bladerig board list
    """
    from rig.board import ports

    found = []
    for port in ports.ask_all():
        found.append(port)
        if not as_json:
            click.echo(f"{'*' if port.ours else ' '} {port.port}  {port.answer}  ({port.hardware})")
    if as_json:
        click.echo(json.dumps([vars(port) for port in found]))
    elif not found:
        click.echo(
            "no serial ports; plug the board in, or practise with: bladerig run ... --virtual"
        )


@board.command()
@click.option("--port", help="Port of the board; left out, the one that answers.")
@click.option("--virtual", is_flag=True, help="Check the virtual rig's stand-in board.")
@click.option("--json", "as_json", is_flag=True, help="For programs.")
def check(port: str | None, virtual: bool, as_json: bool) -> int:
    """Does the board behave as it must? About half a minute; nothing is released.

    Close the guard for the full set of checks. The last ones leave the interlock tripped on
    purpose: open and close the guard afterwards.

    \b
    Example:  bladerig board check --port /dev/ttyUSB0
    """
    from rig import bench as benches
    from rig.board import conformance
    from rig.cli.devices import open_device

    device = open_device(port, virtual=virtual, bench=benches.load(None))
    findings = []
    try:
        if virtual:
            device.act("ready")
        for finding in conformance.run(device.link):
            findings.append(finding)
            if not as_json:
                mark = "ok  " if finding.holds else "FAIL"
                click.echo(
                    f"{mark}  {finding.claim}" + (f": {finding.trouble}" if finding.trouble else "")
                )
    finally:
        device.link.exit()
    failed = [f for f in findings if not f.holds]
    if as_json:
        told = [{"claim": f.claim, "holds": f.holds, "trouble": f.trouble} for f in findings]
        click.echo(json.dumps({"holds": not failed, "findings": told}))
    else:
        click.echo(f"{len(findings) - len(failed)} of {len(findings)} hold")
    return 1 if failed else 0


@board.command()
@click.option("--port", required=True, help="Port of the board.")
def flash(port: str) -> None:
    """Put the firmware that comes with this program on an ATmega328P board.

    \b
    Example:  bladerig board flash --port /dev/ttyUSB0
    """
    from rig.board import flash as flashing

    click.echo(f"{port}: writing {flashing.image().name} ...")
    click.echo(f"{port}: {flashing.flash(port)}; next: bladerig board check --port {port}")
