"""No port is opened unasked, and a board found once is opened alone from then on."""

from pathlib import Path
from types import SimpleNamespace

import pytest

from rig import bench as benches
from rig.board import known, ports
from rig.board.greeting import NoBoard
from rig.errors import RigError
from rig.session import port_choice
from rig.session.devices import open_device
from tests.cli.commands import bladerig


def device(number: int, name: str, serial: str = "") -> SimpleNamespace:
    hwid = f"USB VID:PID=1A86:7523{f' SER={serial}' * bool(serial)} LOCATION=1-{number}"
    return SimpleNamespace(device=f"/dev/ttyUSB{number}", hwid=hwid, description=name)


BOARD, KILN, MILL = (device(n, name, f"no{n}") for n, name in enumerate(("board", "kiln", "mill")))


@pytest.fixture
def opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The ports opened, in order, with three devices attached of which one is the board."""
    names: list[str] = []

    def ask(port: str, hardware: str = "") -> ports.Found:
        names.append(port)
        ours = port == BOARD.device
        return ports.Found(port, hardware, "bladerig" if ours else "nothing", ours)

    monkeypatch.setattr(ports, "ask", ask)
    monkeypatch.setattr(port_choice, "memory", lambda: tmp_path / "deep" / "ports.json")
    attach(monkeypatch, BOARD, KILN, MILL)
    return names


def attach(monkeypatch: pytest.MonkeyPatch, *infos: SimpleNamespace) -> None:
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: list(infos))


def at_terminal(monkeypatch: pytest.MonkeyPatch, answer: bool) -> None:
    monkeypatch.setattr("sys.stdin", SimpleNamespace(isatty=lambda: True))
    monkeypatch.setattr("click.confirm", lambda *_, **__: answer)


def test_without_a_person_to_ask_none_is_opened(opened: list[str]) -> None:
    with pytest.raises(RigError, match="none was opened") as caught:
        port_choice.chosen()
    assert "--port" in caught.value.remedy
    assert opened == []


def test_a_person_who_says_no_keeps_all_closed(
    opened: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    at_terminal(monkeypatch, answer=False)
    with pytest.raises(RigError, match="none was opened"):
        port_choice.chosen()
    assert opened == []
    assert "a kiln, a mill" in capsys.readouterr().err


def test_once_found_the_board_is_opened_alone_wherever_it_is_plugged(
    opened: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    at_terminal(monkeypatch, answer=True)
    assert port_choice.chosen() == BOARD.device
    assert opened == [BOARD.device, KILN.device, MILL.device]
    moved = SimpleNamespace(
        device="/dev/ttyUSB7", hwid=BOARD.hwid.replace("1-0", "2-4"), description=""
    )
    attach(monkeypatch, KILN, moved)
    assert port_choice.chosen() == "/dev/ttyUSB7"
    assert len(opened) == 3


def test_what_was_found_to_be_something_else_is_not_opened_again(
    opened: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    known.save(port_choice.memory(), known.Known("", frozenset({_identity(KILN)})))
    at_terminal(monkeypatch, answer=True)
    assert port_choice.chosen() == BOARD.device
    assert opened == [BOARD.device, MILL.device]
    attach(monkeypatch, KILN, MILL)
    with pytest.raises(RigError, match="was found not to be the board"):
        port_choice.chosen()
    assert len(opened) == 2


def test_a_port_named_by_hand_is_remembered(opened: list[str]) -> None:
    port_choice.remember(BOARD.device)
    assert port_choice.chosen() == BOARD.device
    assert opened == []


def test_another_adapter_of_the_same_make_is_never_taken_for_the_board(
    opened: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    attach(monkeypatch, device(0, "board"), device(1, "kiln"))
    port_choice.remember("/dev/ttyUSB0")
    assert port_choice.chosen() == "/dev/ttyUSB0"
    attach(monkeypatch, device(1, "kiln"))
    with pytest.raises(RigError, match="none was opened"):
        port_choice.chosen()
    assert opened == []


def test_a_device_without_an_identity_is_not_the_board(
    opened: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    nameless = SimpleNamespace(device="/dev/ttyUSB3", hwid="", description="")
    attach(monkeypatch, nameless)
    with pytest.raises(RigError, match="none was opened"):
        port_choice.chosen()
    assert opened == []


def test_a_port_at_which_the_board_does_not_answer_is_asked_for_again(
    opened: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    port_choice.remember(BOARD.device)

    def nobody(port: str, *_: object) -> None:
        raise NoBoard("no board answered", where=port)

    monkeypatch.setattr(ports, "connect", nobody)
    with pytest.raises(NoBoard):
        open_device(None, virtual=False, bench=benches.load(None))
    with pytest.raises(RigError, match="none was opened"):
        port_choice.chosen()


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"board": 1}', "\x00", "[" * 100000])
def test_a_spoilt_memory_is_none(opened: list[str], text: str) -> None:
    port_choice.memory().parent.mkdir()
    port_choice.memory().write_text(text)
    with pytest.raises(RigError, match="none was opened"):
        port_choice.chosen()


def test_the_list_opens_nothing_and_says_so() -> None:
    told = bladerig("board", "list", "--help").stdout
    assert "none is opened" in told and "RESTART WHAT IS ON IT" in told
    assert bladerig("board", "list").returncode == 0


def _identity(info: SimpleNamespace) -> str:
    return next(p.identity for p in ports.attached() if p.port == info.device)
