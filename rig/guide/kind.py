"""What the program knows of one kind of measurand: all of it, in one place."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from rig.board.samples import Capture
from rig.measure.arm.motion import Motion

Settings = Mapping[str, Any]
Compute = Callable[[bytes, Settings], dict[str, Any]]


@dataclass(frozen=True)
class OnSpecimen:
    """What is known besides of a kind that is measured on a blade.

    Attributes:
        title: of its page.
        noun: what one trial is called.
        procedure: whose aim it is.
        main: the measurand of its result that is told first.
        again: how it is measured anew.
        missed: what is said when the procedure measured and did not come to its aim; "" where that
            cannot be.
        bench: sections of bench.toml on which its numbers rest, each with a dot behind.
        empty: whether a measurement by these settings was on no blade after all.
        asks: what a valid result asks for besides; "" when nothing.
        bounds: what a bound asks for, by kind of failure and side ("right": at least).
        curve: the torque over the angle that its record holds; None when it holds none.
        minutes: one trial takes about so long; common practice, no source.
        destroys: the blade (or its edge or tip) is not the same afterwards.
        media: what one trial uses up.
    """

    title: str
    noun: str
    procedure: str
    main: str
    again: str
    missed: str = ""
    bench: tuple[str, ...] = ()
    empty: Callable[[Settings], bool] = lambda _: False
    bounds: Mapping[tuple[str, str], str] = field(default_factory=dict)
    asks: Callable[[Mapping[str, Any]], str] = lambda _: ""
    curve: Callable[[Capture, Settings], Motion | None] = lambda _, __: None
    minutes: float = 10.0
    destroys: bool = True
    media: str = ""


@dataclass(frozen=True)
class MeasurandKind:
    """One kind of measurand.

    Attributes:
        name: as journaled with each result.
        compute: raw frames and settings -> the result as plain data; the same always gives the
            same, so that it can be computed again from the logbook alone.
        channels: whose certificates its numbers rest on.
        falls: whether the mass of the tower's carriage enters it.
        on_specimen: of what is measured on a blade; None of a channel at rest, a calibration ...
    """

    name: str
    compute: Compute
    channels: tuple[str, ...] = ()
    falls: bool = False
    on_specimen: OnSpecimen | None = None
