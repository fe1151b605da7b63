"""A person at the jig: the hands' words of the calibrations and of the pry and twist trials."""

import math
import random
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from rig.virtual.arm.draw import Made, blade_edge, blade_tip, group_of
from rig.virtual.arm.plant import Jig, Pry
from rig.virtual.arm.truth import Failure, TipTruth
from rig.virtual.tower.deeds import Done

Detail = Mapping[str, float | str]

CLAMP_S = 4.0  # to put a blade in or a weight on its hook
TURNED_RAD = math.radians(10.0)  # "a hand's breadth"
PUSHED_KG = 0.7  # a hand against the arm with its pin in, as a weight on the lever
RAMP_S = 7.0  # what a practised hand makes of "five to ten seconds"
RATE_SCATTER, RATE_LIMIT = 0.07, 0.15
RATES_RAD_S = (math.radians(1.5), math.radians(10.0))
BEYOND_RAD = math.radians(1.0)  # a hand told to go to a mark stops when it has passed it
SOFT_WOOD = 0.35  # stiffness of soft against hard wood (from memory, order of magnitude)
SEEN_BEND_RAD = math.radians(1.0)
ROLL, CHIP, CRACK = 0.04, 0.25, 0.7  # of damage of an edge
DEPTH_MM = 0.5
BEGINS = ("seat", "set_edge", "hang", "unhang", "stop")
"""Words that put something at the arm in place of what was there."""


class JigHands:
    """Does the jig's words; `preload_nm` is what a pull begins with when nobody asked for one.

    `made` tells of each blade's name how the blade is made.
    """

    def __init__(
        self, jig: Jig, seed: int = 0, preload_nm: float = 0.05, made: Made = group_of
    ) -> None:
        self._jig, self._seed, self._made = jig, seed, made
        self._rng = random.Random(seed)
        self._preload_nm = preload_nm
        self._sign = 0  # of a pre-load that is held
        self._fresh = True  # nothing was done yet
        self._words: dict[str, Callable[[Detail], float]] = {
            "hang": lambda told: jig.hang(float(told["mass_kg"]), str(told["side"])),
            "push": lambda told: jig.hang(PUSHED_KG, str(told["side"])),
            "turn": lambda _: jig.hold_at_stop(TURNED_RAD),
            "let_go": self._let_go,
            "unhang": lambda _: jig.unhang(),
            "free": lambda _: jig.free(),
            "stop": lambda told: jig.hold_at_stop(math.radians(float(told["angle_deg"]))),
            "clamp_blade": lambda _: jig.pause(CLAMP_S),
            "seat": self._seat,
            "sweep": self._sweep,
            "preload": self._preload,
            "pry": self._pry,
            "unload": lambda _: self._unload(),
            "set_edge": self._set_edge,
            "twist": self._twist,
        }

    def knows(self, hand: str) -> bool:
        """Whether this is one of the jig's words."""
        return hand in self._words

    def act(self, hand: str, detail: Detail) -> float:
        """Begin one action; gives the plant time of its end."""
        self._fresh = False
        return self._words[hand](detail)

    def recall(self, deeds: Iterable[Done]) -> float:
        """What is clamped or hung, and what was done to it; gives the plant time of its end.

        Nothing once these hands have done something.
        """
        if not self._fresh:
            return self._jig.now_s
        done = [deed for deed in deeds if self.knows(deed.hand) and deed.hand != "sweep"]
        begun = [n for n, deed in enumerate(done) if deed.hand in BEGINS]
        for deed in done[begun[-1] :] if begun else ():
            self.act(deed.hand, deed.detail)
        return self._jig.free_at_s

    # -- what the eye sees

    def tip(self) -> dict[str, str]:
        """Answer for a look at the tip."""
        tip = self._jig.tip
        if tip is None:
            return {"tip": "whole"}
        bent = tip.bend_rad > SEEN_BEND_RAD
        return {"tip": "snapped" if tip.broken else "bent" if bent else "whole"}

    def edge(self) -> dict[str, str]:
        """Answers for a look along a twisted edge."""
        edge = self._jig.edge
        harm = 0.0 if edge is None else edge.damage
        if edge is None or harm < ROLL:
            return {"damage": "none", "width": "0.0 mm", "depth": "0.00 mm"}
        kind = "roll" if harm < CHIP else "chip" if harm < CRACK else "crack"
        depth_mm = DEPTH_MM * (1 - math.exp(-harm))
        return {
            "damage": kind,
            "width": f"{edge.affected_m * 1e3:.1f} mm",
            "depth": f"{depth_mm:.2f} mm",
        }

    # -- words

    def _let_go(self, _: Detail) -> float:
        self._jig.unhang()
        return self._jig.free()

    def _seat(self, told: Detail) -> float:
        """A blade in the block; every name stands for one blade, whole whenever it is seated."""
        name = str(told["specimen"])
        tip = blade_tip(name, float(told["depth_m"]), self._seed, self._made(name))
        if str(told.get("block", "")).startswith("soft"):
            tip = _softer(tip)
        self._jig.pause(CLAMP_S)
        return self._jig.seat(tip)

    def _sweep(self, told: Detail) -> float:
        to = math.radians(float(told["to_deg"]))
        far = math.copysign(min(abs(to) + BEYOND_RAD, self._jig.nature.stop_rad), to)
        if told.get("both"):
            self._jig.sweep(far, self._rate(math.radians(5.0)))
            far = -far
        return self._jig.sweep(far, self._rate(math.radians(5.0)))

    def _preload(self, told: Detail) -> float:
        torque_nm = float(told["torque_nm"])
        self._sign = -1 if torque_nm < 0 else 1
        return self._jig.preload(torque_nm)

    def _pry(self, told: Detail) -> float:
        if not self._sign:
            side = -1 if told.get("side") == "left" else 1
            self._preload({"torque_nm": side * self._preload_nm})
        to = self._sign * (self._jig.nature.limit_rad + BEYOND_RAD)
        if "rate_deg_s" in told:
            rate = math.radians(float(told["rate_deg_s"]))
        else:
            low, high = RATES_RAD_S
            rate = min(high, max(low, self._way_rad(to) / RAMP_S))
        return self._jig.pry(Pry(rate_rad_s=self._rate(rate), to_rad=to))

    def _way_rad(self, to: float) -> float:
        """How far it is to where the tip will give way or the hand will stop."""
        tip = self._jig.tip
        if tip is None or tip.truth.kind is not Failure.SNAP:
            return abs(to)
        return min(abs(to), tip.curve.angle_at(tip.truth.fails_nm))

    def _unload(self) -> float:
        self._jig.stop_pull()
        self._sign = 0
        return self._jig.unload() if self._jig.seated else self._jig.free()

    def _set_edge(self, told: Detail) -> float:
        self._jig.pause(CLAMP_S)
        name, length_m = str(told["specimen"]), float(told["length_m"])
        edge = blade_edge(name, length_m, self._seed, self._made(name))
        return self._jig.set_edge(edge)

    def _twist(self, told: Detail) -> float:
        rate = self._rate(math.radians(float(told["rate_deg_s"])))
        amplitude = math.radians(float(told["amplitude_deg"]))
        return self._jig.twist(amplitude, int(told["cycles"]), rate)

    def _rate(self, asked: float) -> float:
        """Nobody turns at just the rate asked for."""
        error = self._rng.gauss(0.0, RATE_SCATTER)
        return asked * (1 + max(-RATE_LIMIT, min(RATE_LIMIT, error)))


def _softer(tip: TipTruth) -> TipTruth:
    return replace(tip, wood_nm_per_rad=tip.wood_nm_per_rad * SOFT_WOOD)
