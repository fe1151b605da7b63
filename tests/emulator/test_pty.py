"""In real time, behind a pseudo-terminal: the one place where the tests wait for the world."""

import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator

import pytest
from pyfirmata2 import Board

from rig import bench as benches
from rig.logbook.records import PRACTICE
from rig.session.devices import open_device
from rig.virtual.arm.plant import Jig
from rig.virtual.frame.plant import CuttingFrame
from rig.virtual.person import Person
from rig.virtual.tower.hands import Hands
from rig.virtual.tower.plant import Tower
from tests.emulator.build import ROOT, build_image
from tests.emulator.console import HELP, Console, Quit
from tests.emulator.emulator import EmulatedBoard

PATIENCE_S = 60.0


@pytest.fixture
def served() -> Iterator[subprocess.Popen[str]]:
    build_image()
    command = [sys.executable, "-m", "tests.emulator", "--exit-with-stdin"]
    with subprocess.Popen(
        command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        yield process
        process.kill()


def say(process: subprocess.Popen[str], line: str) -> str:
    """Type a line; returns the first line of the answer."""
    assert process.stdin and process.stdout
    process.stdin.write(line + "\n")
    process.stdin.flush()
    return process.stdout.readline().strip()


def wait_for(condition: Callable[[], bool]) -> bool:
    """Wait for the world to get there, patiently."""
    end = time.monotonic() + PATIENCE_S
    while not condition() and time.monotonic() < end:
        time.sleep(0.01)
    return condition()


def test_an_unmodified_pyfirmata2_board_connects_and_sees_a_pin_change(
    served: subprocess.Popen[str],
) -> None:
    assert served.stdout
    path = served.stdout.readline().strip()
    assert path.startswith("/dev/")
    assert "help" in served.stdout.readline()
    board = Board(path, baudrate=250_000, timeout=PATIENCE_S)
    try:
        pin = board.get_pin("d:13:u")
        board.samplingOn(20)
        board.sp.write(b"\xf9")  # it never asks by itself: it counts on a reset by DTR
        assert wait_for(lambda: board.get_firmata_version() == (2, 8))
        assert wait_for(lambda: pin.value is True), "the pull-up shows"
        assert say(served, "pin 13 low") == "done"
        assert wait_for(lambda: pin.value is False)
    finally:
        board.exit()


@pytest.mark.parametrize("end", ["quit", "end of input", "interrupt"])
def test_the_server_ends_cleanly(served: subprocess.Popen[str], end: str) -> None:
    assert served.stdin and served.stdout
    served.stdout.readline()
    served.stdout.readline()
    assert say(served, "guard open").startswith("done in")
    if end == "quit":
        served.stdin.write("quit\n")
    elif end == "interrupt":
        served.send_signal(signal.SIGINT)
    served.stdin.close()
    assert served.wait(PATIENCE_S) == 0


def test_lines_typed_at_once_are_carried_out_one_by_one(served: subprocess.Popen[str]) -> None:
    assert served.stdin and served.stdout
    served.stdout.readline()
    served.stdout.readline()
    assert say(served, "guard open\npin 13\nlook").startswith("done in")
    assert "such as" in served.stdout.readline()
    assert served.stdout.readline().startswith("guard closed"), "a hand takes its time"


@pytest.fixture
def console() -> Console:
    tower, jig, frame = Tower(), Jig(), CuttingFrame()
    board = EmulatedBoard(build_image(), tower, jig=jig, carriage=frame)
    return Console(Hands(tower), board, Person(tower, 0, jig, frame=frame))


def test_every_line_of_the_help_can_be_typed(console: Console) -> None:
    for line in HELP.splitlines():
        typed = line[:21].strip()
        if not typed:
            continue
        head, _, choices = typed.rpartition(" ")
        for choice in choices.split("|"):
            words = f"{head} {choice}".strip()
            if words == "quit":
                with pytest.raises(Quit):
                    console.do(words)
            else:
                assert "try help" not in console.do(words)
                assert "needs" not in console.do(words)


@pytest.mark.parametrize(
    "line", ["raise", "raise 250", "pin 7 high", "pin 13", "hand", "hand hang", "hand fly"]
)
def test_a_line_half_understood_is_answered_with_an_example(console: Console, line: str) -> None:
    assert "such as" in console.do(line)


def test_every_word_of_the_hands_in_the_help_can_be_typed(console: Console) -> None:
    told = HELP.split("ask:\n")[1].split("pin 13")[0]
    words = [word.strip().removeprefix("hand ") for word in told.replace("\n", "/").split("/")]
    assert len(words) > 10
    for word in filter(None, words):
        assert console.do(f"hand {word}").startswith("done in"), word


def test_a_line_not_understood_points_to_the_help(console: Console) -> None:
    assert "help" in console.do("jump")
    assert console.do("help") == HELP


def test_the_person_sees_what_the_hands_did(console: Console) -> None:
    assert console.do("look") == "guard closed, e-stop out, nothing energised"
    console.do("guard open")
    console.do("estop press")
    console._board.clock.sleep(3.0)
    assert console.do("look").startswith("guard open, e-stop pressed")


def test_a_run_on_the_emulated_board_is_practice_by_its_greeting(
    served: subprocess.Popen[str],
) -> None:
    assert served.stdout
    path = served.stdout.readline().strip()
    device = open_device(path, virtual=False, bench=benches.load(None))
    try:
        assert device.kind == "emulated" and device.kind in PRACTICE
    finally:
        device.link.exit()
