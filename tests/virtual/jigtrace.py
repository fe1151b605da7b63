"""Trials in the jig as the board would tell them, without bytes: for thousands of rigs."""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from rig.board.wire import CHANNELS, TICK_HZ, Kind
from rig.virtual.arm.plant import Jig, Pry
from rig.virtual.arm.record import PryTruth, TwistTruth
from rig.virtual.arm.truth import EdgeTruth, JigTruth, TipTruth
from rig.virtual.board import angle_channel
from rig.virtual.board.converter import Converter

REST_S = 1.0
ANGLE_TICKS = CHANNELS[Kind.ANGLE].period_ticks

Marks = dict[str, tuple[int, int]]


@dataclass(frozen=True)
class Board:
    """What of the board shows in a trace: its clock's error, the converter's rate and error.

    `converter_error` None draws it.
    """

    resonator: float = 0.0
    rate_hz: float = 80.0
    converter_error: float | None = None


@dataclass(frozen=True)
class PryProfile:
    """One pry trial: a sweep of the bare arm, rest, pre-load, pull, back, rest.

    `sweep_rad` 0 leaves the sweep out. The pre-load and the sweep go the way of the pull.
    """

    pry: Pry = field(default_factory=Pry)
    preload_nm: float = 0.3
    sweep_rad: float = math.radians(50.0)


@dataclass(frozen=True)
class JigSamples:
    """Both channels, in MCU ticks; shapes (n,) and (m,).

    `marks` holds (first tick, last tick) of each named part of the trace.
    """

    load_ticks: NDArray[np.int64]
    load_codes: NDArray[np.int64]
    angle_ticks: NDArray[np.int64]
    angle_sums: NDArray[np.int64]
    marks: Marks


@dataclass(frozen=True)
class PrySamples(JigSamples):
    """A pry trial; marks: sweep, preload (held), pry, unload, rest (nothing pulls, before)."""

    truth: PryTruth


@dataclass(frozen=True)
class TwistSamples(JigSamples):
    """A twist trial; marks: sweep, rest, twist."""

    truth: TwistTruth


class _Log:
    """A jig and the names of the parts of its timeline."""

    def __init__(self, truth: JigTruth, seed: int, board: Board) -> None:
        self.jig = Jig(truth, seed)
        self._board, self._seed = board, seed
        self._hz = TICK_HZ * (1 + board.resonator)
        self._marks: Marks = {}
        self._began = 0.0
        self.rest(REST_S)

    def rest(self, seconds: float, name: str = "") -> None:
        """Let time pass with nothing moving."""
        began = self._now
        self.jig.pause(seconds)
        self._mark(name, began)

    def did(self, name: str) -> None:
        """All since the last call goes by this name."""
        self._mark(name, self._began)

    @property
    def _now(self) -> float:
        return max(self.jig.free_at_s, self.jig.now_s)

    def _mark(self, name: str, began: float) -> None:
        self._began = self._now
        if name:
            self._marks[name] = round(began * self._hz), round(self._now * self._hz)

    def samples(self) -> JigSamples:
        """The whole timeline as the board sees it."""
        end_s = self._now
        converter = Converter(
            self.jig, self._seed, self._board.rate_hz, self._board.converter_error
        )
        taken = np.array(converter.take(end_s), dtype=np.float64).reshape(-1, 2)
        starts = np.arange(ANGLE_TICKS, int(end_s * self._hz) - ANGLE_TICKS, ANGLE_TICKS)
        ratio = self.jig.angle_ratio(angle_channel.middle_ticks(starts) / self._hz)
        rng = np.random.default_rng(self._seed + 1)
        sums = angle_channel.sums(ratio, self.jig.nature.sensor.noise_lsb, rng)
        return JigSamples(
            (taken[:, 0] * self._hz).astype(np.int64),
            taken[:, 1].astype(np.int64),
            starts.astype(np.int64),
            sums,
            self._marks,
        )


def simulate_pry(
    jig_truth: JigTruth,
    tip_truth: TipTruth,
    profile: PryProfile | None = None,
    seed: int = 0,
    board: Board | None = None,
) -> PrySamples:
    """One pry trial of a fresh tip."""
    how = profile or PryProfile()
    log = _Log(jig_truth, seed, board or Board())
    jig = log.jig
    way = math.copysign(1.0, how.pry.to_rad)
    if how.sweep_rad:
        jig.sweep(way * how.sweep_rad)
        log.did("sweep")
    jig.seat(tip_truth)
    log.rest(REST_S, "rest")
    jig.preload(way * how.preload_nm)
    log.did("preload")
    jig.pry(how.pry)
    log.did("pry")
    jig.unload()
    log.did("unload")
    log.rest(REST_S)
    return PrySamples(**vars(log.samples()), truth=jig.truth[-1])


def simulate_twist(
    jig_truth: JigTruth,
    edge_truth: EdgeTruth,
    amplitude_rad: float,
    cycles: int,
    rate_rad_s: float,
    seed: int = 0,
    board: Board | None = None,
) -> TwistSamples:
    """One twist trial of a fresh edge, after a sweep of the bare arm to either side."""
    log = _Log(jig_truth, seed, board or Board())
    jig = log.jig
    jig.sweep(amplitude_rad)
    jig.sweep(-amplitude_rad)
    log.did("sweep")
    jig.set_edge(edge_truth)
    log.rest(REST_S, "rest")
    jig.twist(amplitude_rad, cycles, rate_rad_s)
    log.did("twist")
    log.rest(REST_S)
    return TwistSamples(**vars(log.samples()), truth=jig.twists[-1])


def simulate_hanging(
    jig_truth: JigTruth,
    weights: list[tuple[float, str]],
    seed: int = 0,
    board: Board | None = None,
    held_s: float = 5.0,
) -> JigSamples:
    """A dead-weight calibration: each (kg, side) hung in turn, 0 kg takes all off.

    Marks "0", "1" ... are the waits of `held_s` after each weight has settled.
    """
    log = _Log(jig_truth, seed, board or Board())
    for number, (mass_kg, side) in enumerate(weights):
        if mass_kg:
            log.jig.hang(mass_kg, side)
        else:
            log.jig.unhang()
        log.rest(held_s, str(number))
    return log.samples()


def simulate_stops(
    jig_truth: JigTruth,
    angles_rad: list[float],
    seed: int = 0,
    board: Board | None = None,
    held_s: float = 2.0,
) -> JigSamples:
    """The arm held against known stops in turn; marks "0", "1" ... are the waits at each."""
    log = _Log(jig_truth, seed, board or Board())
    for number, angle_rad in enumerate(angles_rad):
        log.jig.hold_at_stop(angle_rad)
        log.rest(held_s, str(number))
    return log.samples()
