"""The firmware's logic compiled for the host, with the undefined-behaviour sanitizer on.

A fault it finds aborts the test run: undefined arithmetic in a safety device is no small matter.
"""

import ctypes
import functools
import subprocess
import tempfile
from pathlib import Path
from typing import NamedTuple

from rig.board.wire import Reason, State

ROOT = Path(__file__).resolve().parents[2]
SOURCE = Path(__file__).with_name("host_logic.cpp")
FLAGS = (
    "-std=c++11",
    *("-O1", "-g", "-shared", "-fPIC"),
    *("-Wall", "-Wextra", "-Wshadow", "-Werror"),
    *("-fsanitize=undefined", "-fno-sanitize-recover=all"),
)


@functools.cache
def library() -> ctypes.CDLL:
    """The logic as a shared library, built once a test run."""
    with tempfile.TemporaryDirectory() as scratch:
        target = Path(scratch) / "host_logic.so"
        include = ROOT / "firmware" / "src"
        subprocess.run(["g++", *FLAGS, f"-I{include}", SOURCE, "-o", target], check=True)
        built = ctypes.CDLL(str(target))
    for name in (
        *("quadrature_new", "interlock_new", "firmata_new"),
        *("strokes_new", "stroke_load_new", "drive_new"),
    ):
        getattr(built, name).restype = ctypes.c_void_p
    built.crc_of.restype = ctypes.c_uint32
    return built


class Look(NamedTuple):
    """What an interlock shows outside."""

    state: State
    reason: Reason
    latch: bool
    catch: bool
    lamp: bool
    beat_age: int
    permit_left: int


class FirmwareInterlock:
    """firmware/src/interlock.hpp with the interface of rig.virtual.board.interlock.Interlock."""

    def __init__(self) -> None:
        self._c = library()
        self._it = ctypes.c_void_p(self._c.interlock_new())
        self._value = ctypes.c_uint32()

    def __del__(self) -> None:
        self._c.interlock_free(self._it)

    def _answer(self, reason: int) -> tuple[Reason, int]:
        return Reason(reason), self._value.value

    def tick(self, guard: bool, estop: bool, button: bool, position: int) -> None:
        """One millisecond."""
        self._c.interlock_tick(self._it, guard, estop, button, position)

    def loop_open(self, reason: Reason) -> None:
        """Guard or e-stop has opened."""
        self._c.interlock_loop_open(self._it, int(reason))

    def trip(self, reason: Reason) -> None:
        """Outputs off, manual reset needed."""
        self._c.interlock_trip(self._it, int(reason))

    def arm(self, low: int, high: int, nonce: int) -> tuple[Reason, int]:
        """First step."""
        reason = self._c.interlock_arm(self._it, low, high, nonce, ctypes.byref(self._value))
        return self._answer(reason)

    def permit(self, nonce: int) -> tuple[Reason, int]:
        """Second step."""
        reason = self._c.interlock_permit(self._it, nonce, ctypes.byref(self._value))
        return self._answer(reason)

    def clear(self) -> tuple[Reason, int]:
        """Manual reset."""
        return self._answer(self._c.interlock_clear(self._it, ctypes.byref(self._value)))

    def beat(self) -> None:
        """The host is alive."""
        self._c.interlock_beat(self._it)

    def disarm(self) -> None:
        """Back to HELD."""
        self._c.interlock_disarm(self._it)

    def look(self) -> Look:
        """State and outputs now."""
        out = (ctypes.c_int32 * 7)()
        self._c.interlock_look(self._it, out)
        state, reason, latch, catch, lamp, beat_age, permit_left = out
        return Look(
            State(state),
            Reason(reason),
            bool(latch),
            bool(catch),
            bool(lamp),
            beat_age,
            permit_left,
        )
