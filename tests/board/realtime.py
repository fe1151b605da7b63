"""The stand-in behind a pseudo-terminal in real time, for tests of real ports."""

import os
import select
import threading
import time
import tty

from rig.virtual.board.standin import StandIn
from rig.virtual.tower.plant import Tower

STEP_S = 0.002


class Served:
    """A stand-in that a program reaches by opening `path`; `board` is it, inside a thread."""

    def __init__(self, fault: str = "") -> None:
        self.board = StandIn(Tower())
        if fault:
            self.board.fault(fault)
        self._near, self._far = os.openpty()
        tty.setraw(self._far)
        os.set_blocking(self._near, False)
        self.path = os.ttyname(self._far)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Pull the cable: the port is gone."""
        if not self._stop.is_set():
            self._stop.set()
            self._thread.join()
            os.close(self._near)
            os.close(self._far)

    def _serve(self) -> None:
        began = time.monotonic() - self.board.now_s
        while not self._stop.is_set():
            ready, _, _ = select.select([self._near], [], [], STEP_S)
            if ready:
                self.board.write(os.read(self._near, 4096))
            self.board.run(time.monotonic() - began)
            data = self.board.read_available()
            while data:
                try:
                    data = data[os.write(self._near, data) :]
                except BlockingIOError:  # nobody reads: what does not fit is lost
                    break
