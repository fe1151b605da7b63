"""The command line in this process: quick, for all that needs no process of its own."""

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from rig.cli.main import cli
from rig.errors import RigError
from rig.session import devices
from tests.guide.rigs import VirtualRig


def typed_in(*args: object, typed: str = "") -> Result:
    """Run `bladerig ARGS`; `typed` is its standard input. What it raises is in the result."""
    return CliRunner().invoke(cli, [*map(str, args)], input=typed, standalone_mode=False)


def done(*args: object, typed: str = "") -> str:
    """What a command that does its work prints."""
    result = typed_in(*args, typed=typed)
    if result.exception is not None:
        raise result.exception
    return result.output


def told(*args: object, typed: str = "") -> Any:
    """What a command told to speak JSON says, whatever it shows on the way."""
    result = typed_in(*args, "--json", typed=typed)
    if result.exception is not None:
        raise result.exception
    return json.loads(result.stdout)


def refused(*args: object, typed: str = "") -> str:
    """The one line of a command that refuses."""
    error = typed_in(*args, typed=typed).exception
    assert isinstance(error, RigError), repr(error)
    assert "\n" not in str(error)
    return str(error)


def real_board(patch: pytest.MonkeyPatch) -> None:
    """From here on a board answers where a port is opened: the virtual one, told as a real one."""

    def opened(*_: object, virtual: bool, **__: object) -> object:
        rig = VirtualRig()
        rig.device.kind = "virtual" if virtual else "port"
        return rig.device

    patch.setattr(devices, "open_device", opened)


def script(folder: Path, body: str, name: str = "mine.py", parameters: str = "()") -> Path:
    """A script of one's own whose procedure has this body."""
    path = folder / name
    lines = "\n".join(f"    {line}" for line in body.splitlines())
    path.write_text(
        "from rig.guide.parameters import Parameter\n"
        "from rig.guide.steps import Ask, Do, Measure, Note, Ready, Recall, Tell\n"
        f"PARAMETERS = {parameters}\n\n\n"
        f"def procedure(params, bench):\n{lines}\n"
    )
    return path
