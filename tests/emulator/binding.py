"""The C layer's functions and structures."""

import ctypes
import functools
from typing import Any

import numpy as np

from tests.emulator.build import build_shim

KNOT = np.dtype([("cycle", np.uint64), ("level", np.float64)])  # a voltage, a share of the supply


class Event(ctypes.Structure):
    _fields_ = (
        ("cycle", ctypes.c_uint64),
        ("port", ctypes.c_uint8),
        ("bit", ctypes.c_uint8),
        ("level", ctypes.c_uint8),
        ("unused", ctypes.c_uint8 * 5),
    )


class Conversion(ctypes.Structure):
    """A conversion of the bridge converter, ready at a cycle."""

    _fields_ = (
        ("cycle", ctypes.c_uint64),
        ("code", ctypes.c_int32),
        ("unused", ctypes.c_int32),
    )


class ConverterFigures(ctypes.Structure):
    """Of the bridge converter since power-up of the process.

    conversions: made ready; unread: replaced before they were; torn: replaced while read;
    other_pulses: ended by more pulses than 25; longest_high: of its clock, in cycles.
    """

    _fields_ = tuple(
        (name, ctypes.c_uint64)
        for name in (
            "conversions",
            "unread",
            "torn",
            "other_pulses",
            "power_downs",
            "longest_high",
        )
    )


class Probe(ctypes.Structure):
    """One interrupt's figures in cycles: latency from pending to first instruction."""

    _fields_ = tuple(
        (name, ctypes.c_uint64) for name in ("count", "max_latency", "max_length", "total_length")
    )


class Counters(ctypes.Structure):
    """Counted since power-up of the process; `slept` in cycles, the rest in events."""

    _fields_ = tuple(
        (name, ctypes.c_uint64)
        for name in (
            "illegal_baud",
            "rx_overruns",
            "rx_bytes",
            "tx_bytes",
            "merged_edges",
            "resets",
            "slept",
        )
    )


U8, U16, U32, U64, POINTER = (
    ctypes.c_uint8,
    ctypes.c_uint16,
    ctypes.c_uint32,
    ctypes.c_uint64,
    ctypes.c_void_p,
)
SIGNATURES: dict[str, tuple[Any, tuple[Any, ...]]] = {
    "sim_new": (POINTER, (ctypes.c_char_p, U32, ctypes.c_double)),
    "sim_retire": (None, (POINTER,)),
    "sim_reset_pin": (None, (POINTER,)),
    "sim_hold_reset": (None, (POINTER, U64)),
    "sim_power_up": (None, (POINTER, U64)),
    "sim_run": (ctypes.c_int, (POINTER, U64)),
    "sim_cycle": (U64, (POINTER,)),
    "sim_pc": (U32, (POINTER,)),
    "sim_asleep": (ctypes.c_int, (POINTER,)),
    "sim_counters": (None, (POINTER, POINTER)),
    "sim_peek": (U8, (POINTER, U16)),
    "sim_poke": (None, (POINTER, U16, U8)),
    "sim_flash": (U8, (POINTER, U32)),
    "sim_set_flash": (None, (POINTER, U32, U8)),
    "sim_eeprom": (None, (POINTER, U16, POINTER, U32)),
    "sim_set_eeprom": (None, (POINTER, U16, ctypes.c_char_p, U32)),
    "sim_analog": (None, (POINTER, ctypes.c_int, ctypes.c_double, ctypes.c_double)),
    "sim_analog_course": (None, (POINTER, ctypes.c_int, POINTER, U32)),
    "sim_conversions": (None, (POINTER, POINTER, U32)),
    "sim_converter_fault": (None, (POINTER, ctypes.c_int)),
    "sim_converter_figures": (None, (POINTER, POINTER)),
    "sim_drive": (None, (POINTER, ctypes.c_int, ctypes.c_int, ctypes.c_int)),
    "sim_edges": (ctypes.c_int, (POINTER, POINTER, U32)),
    "sim_stop_on": (None, (POINTER, ctypes.c_int, U8)),
    "sim_changes": (U32, (POINTER, POINTER, U32)),
    "sim_receive": (None, (POINTER, ctypes.c_char_p, U32)),
    "sim_sent": (U32, (POINTER, POINTER, POINTER, U32)),
    "sim_probe": (None, (POINTER, ctypes.c_int, POINTER)),
    "sim_clear_probes": (None, (POINTER,)),
}


@functools.cache
def library() -> ctypes.CDLL:
    """The C layer, built when it has to be."""
    library = ctypes.CDLL(str(build_shim()))
    for name, (result, arguments) in SIGNATURES.items():
        function = getattr(library, name)
        function.restype, function.argtypes = result, arguments
    return library
