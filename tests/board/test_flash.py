"""The real avrdude writes our image to a boot loader on a pseudo-terminal."""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from rig.board import flash
from rig.errors import RigError
from tests.board.bootloader import BootLoader, Chatter, Mute
from tests.emulator.build import read_hex


@pytest.fixture
def loader() -> Iterator[BootLoader]:
    with closing(BootLoader()) as far:
        yield far


def refused(port: str) -> RigError:
    with pytest.raises(RigError) as caught:
        flash.flash(port)
    assert "\n" not in str(caught.value)
    assert caught.value.remedy
    return caught.value


def test_the_flash_holds_the_image_byte_for_byte(loader: BootLoader) -> None:
    told = flash.flash(loader.path)
    image = read_hex(flash.image().read_text())
    assert len(image) > 4_000
    assert bytes(loader.flash[: len(image)]) == image
    assert set(loader.flash[len(image) :]) == {0xFF}
    assert loader.left  # and the program is started
    assert told == "firmware written and verified at 115200 baud"


def test_a_page_that_reads_back_wrong_is_told() -> None:
    with closing(BootLoader(broken=True)) as far:
        assert "0x007f" in refused(far.path).what  # the last byte of the first page


def test_an_older_boot_loader_is_reached_at_its_own_speed(
    loader: BootLoader, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A pseudo-terminal does not care for speed, so the first call is made to fail instead.
    call = flash.command

    def wrong_part_first(port: str, speed: int, tool: str) -> list[str]:
        given = call(port, speed, tool)
        return ["/bin/false"] if speed == flash.SPEEDS[0] else given

    monkeypatch.setattr(flash, "command", wrong_part_first)
    assert flash.flash(loader.path) == "firmware written and verified at 57600 baud"


def test_something_that_is_no_boot_loader_is_told_with_guidance() -> None:
    with closing(Chatter()) as far:
        error = refused(far.path)
    assert error.what == "firmware not written: no boot loader answered"
    assert error.where == far.path
    assert "reset button" in error.remedy


def test_a_silent_port_is_given_up_at_the_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(flash, "LIMIT_S", 0.5)
    with closing(Mute()) as far:
        error = refused(far.path)
    assert error.what == "firmware not written: no boot loader answered"
    assert "reset button" in error.remedy


def test_a_missing_avrdude_is_told_with_the_way_to_get_it(
    loader: BootLoader, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    error = refused(loader.path)
    assert error.what == "avrdude is not installed"
    assert "apt install avrdude" in error.remedy


def test_a_wrong_port_is_told_before_anything_is_run(tmp_path: Path) -> None:
    port = str(tmp_path / "ttyUSB9")
    error = refused(port)
    assert error.what == "no such port"
    assert error.where == port


def test_a_port_that_is_no_serial_port_is_refused_untouched(tmp_path: Path) -> None:
    port = tmp_path / "notes.txt"
    port.write_text("not a port\n")
    assert refused(str(port)).what == "not a serial port"
    assert port.read_text() == "not a port\n"
