"""The firmware's strokes, their load and the drive, with the interfaces of their Python twins."""

import ctypes
from collections.abc import Sequence
from typing import NamedTuple

from rig.board.wire import DriveState, Reason, Stroke
from rig.virtual.board.drive import DriveInputs
from rig.virtual.board.stroke_load import LoadSummary
from rig.virtual.board.strokes import JudgedStroke, WayOut
from tests.firmware.host import library

REJECTS = [kind for kind in Stroke if kind is not Stroke.COUNTED]


class StrokesLook(NamedTuple):
    """What the machine shows outside; `rejects` in the order of `REJECTS`."""

    near: bool
    far: bool
    near_changed: int | None
    far_changed: int | None
    ends: int
    faults: int
    counted: int
    rejects: tuple[int, ...]
    way: WayOut


class Verdict(NamedTuple):
    """A judgement of `play`: the millisecond it was given in, and the full strokes so far."""

    ms: int
    verdict: Stroke
    number: int


class FirmwareStrokes:
    """firmware/src/strokes.hpp."""

    def __init__(self, near: bool, far: bool) -> None:
        self._c = library()
        self._it = ctypes.c_void_p(self._c.strokes_new(near, far))
        self._out = (ctypes.c_uint32 * 19)()

    def __del__(self) -> None:
        self._c.strokes_free(self._it)

    def set_band(self, min_ms: int, max_ms: int) -> bool:
        """Full strokes within it count."""
        return bool(self._c.strokes_band(self._it, min_ms, max_ms))

    def default_band(self) -> None:
        """The one at boot."""
        self._c.strokes_default_band(self._it)

    def tick(self, near: bool, far: bool, moving: bool, now: int) -> JudgedStroke | None:
        """One millisecond."""
        out, when = self._out, ctypes.c_uint32(now)
        if not self._c.strokes_tick(self._it, near, far, moving, when, out):
            return None
        verdict, time, number, out_ms, back_ms, *way = out[:9]
        return JudgedStroke(time, number, out_ms, back_ms, Stroke(verdict), _way(way))

    def look(self) -> StrokesLook:
        """All of it now."""
        self._c.strokes_look(self._it, self._out)
        near, far, near_is, near_at, far_is, far_at, ends, faults, counted, *rest = self._out
        return StrokesLook(
            bool(near),
            bool(far),
            near_at if near_is else None,
            far_at if far_is else None,
            ends,
            faults,
            counted,
            tuple(rest[:6]),
            _way(rest[6:]),
        )

    def play(
        self, times_ms: Sequence[float], levels: Sequence[int], begin_ms: int, end_ms: int
    ) -> list[Verdict]:
        """Sample a course of levels (bit 0 near closed, 1 far closed, 2 moving) each millisecond.

        The first level holds from the begin, whatever its time.
        """
        count, room = len(times_ms), len(times_ms) + 1
        out = (ctypes.c_uint32 * (3 * room))()
        found = self._c.strokes_play(
            self._it,
            (ctypes.c_double * count)(*times_ms),
            bytes(levels),
            count,
            ctypes.c_uint32(begin_ms),
            ctypes.c_uint32(end_ms),
            out,
            room,
        )
        flat = out[: 3 * found]
        return [
            Verdict(ms, Stroke(kind), number)
            for ms, kind, number in zip(flat[::3], flat[1::3], flat[2::3], strict=True)
        ]


def _way(fields: Sequence[int]) -> WayOut:
    left_at, end, number, under_way = fields
    return WayOut(left_at, end, number, bool(under_way))


class FirmwareStrokeLoad:
    """firmware/src/stroke_load.hpp."""

    def __init__(self) -> None:
        self._c = library()
        self._it = ctypes.c_void_p(self._c.stroke_load_new())

    def __del__(self) -> None:
        self._c.stroke_load_free(self._it)

    def add(self, time: int, code: int, way: WayOut) -> None:
        """A conversion."""
        self._c.stroke_load_add(self._it, ctypes.c_uint32(time), code, _packed(way))

    def settle(self, now: int, way: WayOut) -> None:
        """Time passes."""
        self._c.stroke_load_settle(self._it, ctypes.c_uint32(now), _packed(way))

    def take(self, way: WayOut) -> LoadSummary:
        """Of a way out that is over."""
        out = (ctypes.c_int32 * 4)()
        self._c.stroke_load_take(self._it, _packed(way), out)
        return LoadSummary(out[0], out[1], out[2], bool(out[3]))


def _packed(numbers: Sequence[int]) -> ctypes.Array[ctypes.c_uint32]:
    return (ctypes.c_uint32 * len(numbers))(*numbers)


class DriveLook(NamedTuple):
    """What a drive shows outside."""

    state: DriveState
    reason: Reason
    running: bool
    lamp: bool
    target_left: int


class FirmwareDrive:
    """firmware/src/drive.hpp."""

    def __init__(self) -> None:
        self._c = library()
        self._it = ctypes.c_void_p(self._c.drive_new())
        self._value = ctypes.c_uint32()

    def __del__(self) -> None:
        self._c.drive_free(self._it)

    def tick(self, now: DriveInputs) -> None:
        """One millisecond."""
        self._c.drive_tick(self._it, _packed(now))

    def stop(self, reason: Reason, counted: int) -> None:
        """At once."""
        self._c.drive_stop(self._it, int(reason), ctypes.c_uint32(counted))

    def arm(self, target: int, nonce: int, now: DriveInputs) -> tuple[Reason, int]:
        """First step."""
        value = ctypes.byref(self._value)
        given = ctypes.c_uint32(target), ctypes.c_uint32(nonce)
        reason = self._c.drive_arm(self._it, *given, _packed(now), value)
        return Reason(reason), self._value.value

    def permit(self, nonce: int, now: DriveInputs) -> tuple[Reason, int]:
        """Second step."""
        value = ctypes.byref(self._value)
        reason = self._c.drive_permit(self._it, ctypes.c_uint32(nonce), _packed(now), value)
        return Reason(reason), self._value.value

    def look(self, counted: int) -> DriveLook:
        """State and outputs now."""
        out = (ctypes.c_uint32 * 5)()
        self._c.drive_look(self._it, ctypes.c_uint32(counted), out)
        state, reason, running, lamp, left = out
        return DriveLook(DriveState(state), Reason(reason), bool(running), bool(lamp), left)
