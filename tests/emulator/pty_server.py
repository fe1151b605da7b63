"""The firmware and the virtual rig in real time behind a pseudo-terminal.

A pseudo-terminal has no DTR line, so opening it does not reset the board as a serial adapter does.
"""

import os
import selectors
import sys
import time
import tty
from typing import TextIO

from pyfirmata2.pyfirmata2 import REPORT_VERSION

from rig import bench as benches
from rig.session.devices import EMULATED
from rig.session.virtual_truth import frame_belief, jig_nominal
from rig.virtual.arm.plant import Jig
from rig.virtual.board import firmata
from rig.virtual.board.converter import Converter
from rig.virtual.frame.plant import CuttingFrame
from rig.virtual.person import Person
from rig.virtual.tower.hands import Hands
from rig.virtual.tower.plant import Tower
from tests.emulator.build import build_image
from tests.emulator.console import Console, Quit
from tests.emulator.emulator import EmulatedBoard

STEP_S = 0.002
LARGEST_LAG_S = 0.2  # later than this the world skips real time instead of hurrying after it
READ_SIZE = 4096


class PtyServer:
    """Carries bytes between a board and the pseudo-terminal `path`, at the pace of real time."""

    def __init__(self, board: EmulatedBoard) -> None:
        self.board = board
        # Raw before the first byte, or the firmware hears its own echo; the far end stays open, or
        # reading fails between one host and the next.
        self.near, self._far = os.openpty()
        tty.setraw(self._far)
        os.set_blocking(self.near, False)
        self.path = os.ttyname(self._far)
        self._started = time.monotonic() - board.now_s

    def step(self) -> None:
        """Bring the world up to now and pass on what it said; what nobody reads is lost."""
        now = time.monotonic()
        if now - self._started - self.board.now_s > LARGEST_LAG_S:
            self._started = now - self.board.now_s - STEP_S
        self.board.run(now - self._started)
        data = self.board.read_available()
        while data:
            try:
                data = data[os.write(self.near, data) :]
            except BlockingIOError:
                return

    def receive(self) -> None:
        """Take what the host wrote; whoever asks who is there is told first that it is no board."""
        try:
            said = os.read(self.near, READ_SIZE)
        except BlockingIOError:
            return
        if bytes([REPORT_VERSION]) in said:
            os.write(self.near, firmata.sysex(firmata.STRING, firmata.pairs(EMULATED.encode())))
        self.board.write(said)

    def close(self) -> None:
        """Close both ends."""
        os.close(self.near)
        os.close(self._far)


class Typed:
    """Lines from standard input, taken without waiting."""

    def __init__(self, stream: TextIO) -> None:
        self._descriptor = stream.fileno()
        self._rest = b""

    def fileno(self) -> int:
        """For a selector."""
        return self._descriptor

    def lines(self) -> list[str] | None:
        """Lines typed since the last call; None at the end of input."""
        data = os.read(self._descriptor, READ_SIZE)
        if not data:
            return None
        *whole, self._rest = (self._rest + data).split(b"\n")
        return [line.decode(errors="replace") for line in whole]


def serve(server: PtyServer, console: Console, typed: Typed, exit_with_typed: bool) -> None:
    """Run until the person quits, or `typed` ends when that is to end it."""
    with selectors.DefaultSelector() as selector:
        selector.register(server.near, selectors.EVENT_READ)
        try:
            selector.register(typed, selectors.EVENT_READ)
        except PermissionError:  # a plain file cannot be watched; nobody types there
            if exit_with_typed:
                return
        while True:
            for key, _ in selector.select(STEP_S):
                if key.fileobj is not typed:
                    server.receive()
                    continue
                lines = typed.lines()
                if lines is None and exit_with_typed:
                    return
                if lines is None:
                    selector.unregister(typed)
                for line in lines or ():
                    print(console.do(line), flush=True)
            server.step()


def main(exit_with_stdin: bool) -> None:
    """Build, boot, print the path on the first line, serve."""
    bench = benches.load(None)
    tower = Tower()
    jig = Jig(jig_nominal(bench, tower.nature.gravity).belief)
    frame = CuttingFrame(frame_belief(bench))
    person = Person(tower, 0, jig, bench.pry.pry.preload_nm, frame)
    board = EmulatedBoard(
        build_image(),
        tower,
        jig=jig,
        converter=Converter(jig),
        carriage=frame,
        angle_noise_steps=jig.nature.sensor.noise_lsb,
        resonator_error=tower.nature.resonator,
    )
    server = PtyServer(board)
    print(server.path, flush=True)
    print("The firmware runs on the virtual rig behind it. Your hands: type help.", flush=True)
    try:
        serve(server, Console(Hands(tower), board, person), Typed(sys.stdin), exit_with_stdin)
    except (KeyboardInterrupt, Quit):
        pass
    finally:
        server.close()
