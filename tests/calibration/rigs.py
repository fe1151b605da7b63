"""The whole virtual rig with tower, jig and stand-in board, calibrated by a pair of hands."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from rig.board.link import Link
from rig.board.wire import Kind
from rig.guide import script
from rig.guide.device import Device
from rig.guide.operator import ScriptedOperator
from rig.guide.parameters import read_all
from rig.guide.runner import Runner
from rig.logbook.store import Logbook
from rig.virtual.arm.plant import Jig
from rig.virtual.board.standin import StandIn
from rig.virtual.tower.hands import Hands
from rig.virtual.tower.plant import Tower
from tests.calibration.settings import BENCH


@dataclass
class CalibrationHands:
    """Hangs weights, holds the arm at stops, moves the carriage along the rule.

    `ratio` is true over stated mass.
    """

    tower: Tower
    jig: Jig
    ratio: float = 1.0
    _hands: Hands = field(init=False)

    def __post_init__(self) -> None:
        self._hands = Hands(self.tower)

    def act(self, hand: str, detail: Mapping[str, float | str]) -> float:
        """Begin one action; gives the seconds it will take."""
        if hand == "hang":
            end = self.jig.hang(float(detail["mass_kg"]) * self.ratio, str(detail["side"]))
        elif hand == "unhang":
            end = self.jig.unhang()
        elif hand == "free":
            end = self.jig.free()
        elif hand == "stop":
            end = self.jig.hold_at_stop(math.radians(float(detail["angle_deg"])))
        elif hand == "rule":
            end = self._hands.lift_off(float(detail["mark_m"]))
        elif hand == "lower":
            end = self._hands.lower_to_contact()
        else:
            raise ValueError(f"these hands cannot '{hand}'")
        return max(0.0, end - self.tower.now_s)


class CalibrationRig:
    """One rig with its truth; `hook` sees every text as it is shown."""

    def __init__(
        self, jig: Jig, ratio: float = 1.0, seed: int = 4,
        hook: Callable[["CalibrationRig", str], None] | None = None,
    ) -> None:  # fmt: skip
        self.tower, self.jig, self._hook = Tower(seed=seed), jig, hook
        self.board = StandIn(self.tower, jig=jig, boot=5, seed=seed)
        hands = CalibrationHands(self.tower, jig, ratio)
        self.device = Device(self.connect(), self.connect, hands, "virtual")
        self.texts: list[str] = []

    def connect(self) -> Link:
        self.board.reopen()
        link = Link(self.board, clock=self.board.clock, name="virtual rig")
        link.stream(Kind.HEIGHT, True)
        return link

    def _watch(self, text: str) -> None:
        self.texts.append(text)
        if self._hook is not None:
            self._hook(self, text)

    def calibrate(
        self, book: Logbook, channel: str, answers: Mapping[str, Sequence[str]] | None = None,
        **given: str,
    ) -> dict[str, Any]:  # fmt: skip
        """A guided calibration to its end: its conclusion."""
        built = script.load(f"calibrate_{channel}")
        params = read_all(built.parameters, {"operator": "AB", **given})
        return dict(self._runner(book, answers).start(built, params)[1])

    def resume(self, book: Logbook, channel: str) -> dict[str, Any]:
        """Go on with the unfinished calibration of a logbook."""
        (run,) = book.unfinished_runs()
        return dict(
            self._runner(book, None).resume(run.run_id, script.load(f"calibrate_{channel}"))
        )

    def _runner(self, book: Logbook, answers: Mapping[str, Sequence[str]] | None) -> Runner:
        return Runner(book, BENCH, self.device, ScriptedOperator(answers or {}, self._watch))
