"""Real ports: pseudo-terminals, opened as a user's program opens them."""

import os
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from types import SimpleNamespace

import pytest

from rig.board import ports, wire
from rig.board.link import Link, LinkLost, NoBoard
from rig.board.streams import PortError, SerialStream
from rig.board.wire import Kind, Op
from rig.errors import RigError
from tests.board.bootloader import Mute
from tests.board.realtime import Served

NOBODY = 65534
PATIENCE_S = 30.0


@pytest.fixture
def served() -> Iterator[Served]:
    with closing(Served()) as board:
        yield board


@pytest.fixture
def mute() -> Iterator[Mute]:
    with closing(Mute()) as far:
        yield far


@contextmanager
def connected(port: str) -> Iterator[Link]:
    """A link that gives the port back whatever the test finds."""
    link = ports.connect(port, PATIENCE_S)
    try:
        yield link
    finally:
        link.exit()


def refused(port: str) -> PortError:
    with pytest.raises(PortError) as caught:
        ports.connect(port, PATIENCE_S)
    assert "\n" not in str(caught.value)
    assert caught.value.where == port
    assert caught.value.remedy
    return caught.value


def test_a_board_on_a_real_port_connects_and_answers(served: Served) -> None:
    with connected(served.path) as link:
        assert link.firmware == wire.FIRMWARE_NAME
        joined = link.decoder.damaged  # joining a line in mid-frame may cut one
        assert link.command(Op.HELLO).done
        assert link.wait_until(lambda: len(link.exchanges) >= 3, PATIENCE_S)
        assert link.wait_until(lambda: link.status.get("beat_age_ms", 9999) < 500, PATIENCE_S)
        assert link.decoder.damaged == joined


def test_height_streams_through_a_real_port(served: Served) -> None:
    with connected(served.path) as link:
        link.stream(Kind.HEIGHT, True)
        link.start_record()
        assert link.wait_until(lambda: link.position == 0, PATIENCE_S)
        assert link.decoder.gaps == []


def test_a_second_program_is_refused_and_does_not_disturb_the_first(served: Served) -> None:
    with connected(served.path) as link:
        link.stream(Kind.HEIGHT, True)
        joined = link.decoder.damaged  # joining a line in mid-frame may cut one
        assert "in use by another program" in refused(served.path).what
        assert link.command(Op.HELLO).done
        assert (link.decoder.gaps, link.decoder.damaged) == ([], joined)


def test_a_port_is_free_again_after_exit(served: Served) -> None:
    ports.connect(served.path, PATIENCE_S).exit()
    ports.connect(served.path, PATIENCE_S).exit()


def test_a_port_is_free_again_after_a_failed_connection(mute: Mute) -> None:
    for _ in range(2):
        with pytest.raises(NoBoard):
            ports.connect(mute.path, 0.1)


def test_a_missing_port_is_refused(tmp_path: Path) -> None:
    error = refused(str(tmp_path / "ttyUSB9"))
    assert error.what == "no such port"
    assert "bladerig board list" in error.remedy


@pytest.mark.parametrize("name", ["notes.txt", "busy-lock-permission.txt"])
def test_a_file_is_refused_as_no_serial_port(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_text("kept")
    assert refused(str(path)).what == "not a serial port"
    assert path.read_text() == "kept"


def test_a_folder_is_refused_as_no_serial_port(tmp_path: Path) -> None:
    assert refused(str(tmp_path)).what == "not a serial port"


def test_a_port_without_permission_is_refused_with_the_remedy(mute: Mute) -> None:
    os.chmod(mute.path, 0)
    administrator = os.geteuid() == 0  # whom rights would not stop
    if administrator:
        os.seteuid(NOBODY)
    try:
        error = refused(mute.path)
    finally:
        if administrator:
            os.seteuid(0)
    assert error.what == "you may not open this port"
    assert "dialout" in error.remedy


@pytest.mark.parametrize(
    ("text", "what"),
    [
        # As pyserial words them on Windows (serialwin32.py: repr of the system's error).
        ("could not open port 'COM9': FileNotFoundError(2, 'no file', None, 2)", "no such port"),
        ("could not open port 'COM9': PermissionError(13, 'denied', None, 5)", "may not open"),
    ],
)
def test_errors_that_come_only_as_text_are_understood(
    monkeypatch: pytest.MonkeyPatch, text: str, what: str
) -> None:
    import serial

    def refuse(*_: object, **__: object) -> None:
        raise serial.SerialException(text)

    monkeypatch.setattr(serial, "Serial", refuse)
    assert what in refused("COM9").what


def test_a_silent_port_is_no_board(mute: Mute) -> None:
    with pytest.raises(NoBoard) as caught:
        ports.connect(mute.path, 0.3)
    assert "within 0.3 s" in caught.value.what
    assert "\n" not in str(caught.value)


def test_a_port_that_goes_away_is_a_lost_link(served: Served) -> None:
    link = ports.connect(served.path, PATIENCE_S)
    served.close()
    with pytest.raises(LinkLost) as caught:
        link.wait(PATIENCE_S)
    assert "unplugged" in caught.value.what
    with pytest.raises(LinkLost):
        link.command(Op.HELLO)
    link.exit()


def test_a_port_that_takes_no_more_bytes_is_an_error(mute: Mute) -> None:
    class Full:
        def write(self, _: bytes) -> int:
            import serial

            raise serial.SerialTimeoutException("Write timeout")

    stream = SerialStream(mute.path)
    stream._serial.close()
    stream._serial = Full()
    with pytest.raises(OSError, match="takes no more bytes"):
        stream.write(b"\xf9")


def test_asking_a_port_tells_what_answers(
    served: Served, mute: Mute, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    version = ".".join(map(str, wire.FIRMWARE_VERSION))
    found = ports.ask(served.path, "adapter")
    assert found == ports.Found(served.path, "adapter", f"bladerig {version}", True)
    monkeypatch.setattr(ports, "ASK_LIMIT_S", 0.5)
    silent = ports.ask(mute.path)
    assert (silent.answer, silent.ours) == ("no board answered within 0.5 s", False)
    assert ports.ask(str(tmp_path)).answer == "not a serial port"


def list_as(monkeypatch: pytest.MonkeyPatch, *paths: str) -> None:
    """Pseudo-terminals are in no list of ports: put them there."""
    infos = [SimpleNamespace(device=p, hwid="USB", description="adapter") for p in paths]
    bare = SimpleNamespace(device="/dev/ttyS0", hwid="n/a", description="n/a")
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: [bare, *infos])
    monkeypatch.setattr(ports, "ASK_LIMIT_S", 1.0)


def asked() -> list[ports.Found]:
    return [ports.ask(one.port, one.hardware) for one in ports.attached()]


def test_the_one_board_is_found_among_the_ports(
    served: Served, mute: Mute, monkeypatch: pytest.MonkeyPatch
) -> None:
    list_as(monkeypatch, mute.path, served.path)
    assert ports.the_one(asked()) == served.path


def test_without_a_board_the_way_to_practise_is_told(
    mute: Mute, monkeypatch: pytest.MonkeyPatch
) -> None:
    list_as(monkeypatch, mute.path)
    with pytest.raises(RigError, match="no board with our firmware on /dev/") as caught:
        ports.the_one(asked())
    assert "--virtual" in caught.value.remedy


def test_two_boards_are_left_to_choose_from(
    served: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    with closing(Served()) as other:
        list_as(monkeypatch, served.path, other.path)
        with pytest.raises(RigError, match="boards answer on") as caught:
            ports.the_one(asked())
    assert caught.value.value == sorted([served.path, other.path])
    assert "--port" in caught.value.remedy
