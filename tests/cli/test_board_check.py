"""`bladerig board check` says loudly what it could not check, and why."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from rig.cli.main import cli
from rig.errors import RigError
from rig.guide.hazards import LINES
from rig.session import devices
from tests.guide.rigs import VirtualRig

ARMING = (
    "A permit with the wrong number is refused and disarms",
    "Every arming has a number of its own, good for one permit, and a disarm takes it back",
    "While the drop is armed the drive is refused, and while the drive is armed the drop is",
    "An armed board that hears no heartbeat for 0.5 s trips within 0.6 s",
    "A trip is not cleared before the guard was opened and closed by hand",
)


def checked(patch: pytest.MonkeyPatch, *args: str, **opened: int) -> Result:
    """The command on a virtual rig whose switches stand as given (1 is open)."""
    rig = VirtualRig()
    for pin, level in opened.items():
        rig.tower.switch(pin, level, rig.tower.now_s)
    patch.setattr(devices, "open_device", lambda *_, **__: rig.device)
    return CliRunner().invoke(cli, ["board", "check", "--yes", *args], standalone_mode=False)


def test_with_the_guard_open_the_checks_not_made_are_named_and_count(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    done = checked(monkeypatch, GUARD=1)
    first, *lines = done.output.splitlines()
    assert first.startswith("NOT READY: the guard is open.") and "close the guard" in first
    unmade = [line for line in lines if line.startswith("NOT MADE")]
    assert [line.removeprefix("NOT MADE  ").split(": ")[0] for line in unmade] == list(ARMING)
    assert all("GUARD_OPEN" in line for line in unmade[:-1])
    assert f"{len(ARMING)} NOT MADE" in lines[-1] and "Close the guard" in lines[-1]
    assert done.return_value == 1


def test_an_open_e_stop_is_named_too(monkeypatch: pytest.MonkeyPatch) -> None:
    done = checked(monkeypatch, ESTOP=1)
    assert done.output.startswith("NOT READY: the e-stop is pressed")
    assert "8 NOT MADE" in done.output and "FAIL" not in done.output


def test_with_the_guard_closed_nothing_is_said_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    done = checked(monkeypatch)
    assert "NOT" not in done.output and done.return_value == 0
    *_, unseen, last = done.output.splitlines()
    held, _, of, _ = last.split()
    assert held == of and int(of) > len(ARMING)
    assert "Not looked at: the brown-out level" in unseen


def test_programs_are_told_which_checks_were_not_made(monkeypatch: pytest.MonkeyPatch) -> None:
    told = json.loads(checked(monkeypatch, "--json", GUARD=1).output)
    assert not told["holds"]
    assert tuple(f["claim"] for f in told["findings"] if not f["made"]) == ARMING


def test_a_trip_left_by_an_earlier_check_is_cleared_once_the_guard_was_cycled(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rig = VirtualRig()
    monkeypatch.setattr(devices, "open_device", lambda *_, **__: rig.device)
    monkeypatch.setattr(type(rig.device.link), "exit", lambda self: None)
    call = ["board", "check", "--yes"]
    assert "NOT" not in CliRunner().invoke(cli, call, standalone_mode=False).output
    again = CliRunner().invoke(cli, call, standalone_mode=False).output
    assert again.startswith("NOT READY: the interlock is tripped")
    assert "FAIL" not in again and "8 NOT MADE" in again, "the board is not to blame"
    rig.device.act("ready")
    assert "NOT" not in CliRunner().invoke(cli, call, standalone_mode=False).output


def test_its_help_says_what_to_do_before(tmp_path: Path) -> None:
    text = CliRunner().invoke(cli, ["board", "check", "--help"]).output
    assert "close the guard" in text and "NOT MADE" in text and "five checks" in text.lower()


@pytest.mark.parametrize("answer", ["n\n", "\n", ""])
def test_at_a_real_board_it_asks_first_and_does_nothing_without_a_yes(
    monkeypatch: pytest.MonkeyPatch, answer: str
) -> None:
    opened: list[object] = []
    monkeypatch.setattr(devices, "open_device", lambda *a, **_: opened.append(a))
    done = CliRunner().invoke(cli, ["board", "check"], input=answer, standalone_mode=False)
    assert isinstance(done.exception, RigError) and "--yes" in done.exception.remedy
    assert opened == []
    for line in (LINES["falling_mass"], LINES["driven_blade"]):
        assert line in done.output
    assert "Pin in, motor unplugged, nobody near the button?" in done.output


def test_a_yes_lets_it_go_on_and_a_virtual_rig_is_not_asked_about(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rig = VirtualRig()
    monkeypatch.setattr(devices, "open_device", lambda *_, **__: rig.device)
    said = CliRunner().invoke(cli, ["board", "check"], input="y\n", standalone_mode=False)
    assert said.return_value == 0 and "nobody near the button?" in said.output
    monkeypatch.setattr(devices, "open_device", lambda *_, **__: VirtualRig().device)
    unasked = CliRunner().invoke(cli, ["board", "check", "--virtual"], standalone_mode=False)
    assert unasked.return_value == 0 and "button?" not in unasked.output
