"""Whole runs of each procedure, on the stand-in or on the real image, for faults at any instant."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import cycle
from pathlib import Path
from typing import Any

from rig import bench as benches
from rig.board.link import Link
from rig.board.wire import Kind
from rig.guide import script as scripts
from rig.guide.device import Device
from rig.guide.operator import ScriptedOperator
from rig.guide.parameters import read_all
from rig.guide.runner import Runner
from rig.virtual.arm.plant import Jig
from rig.virtual.arm.truth import Failure, TipTruth
from rig.virtual.board.converter import Converter
from rig.virtual.board.standin import StandIn
from rig.virtual.frame.plant import CuttingFrame, FrameTruth
from rig.virtual.person import Person
from rig.virtual.tower.plant import Tower
from tests.guide.edgeplay import ANSWERS as EDGE_ANSWERS
from tests.guide.edgeplay import Looking
from tests.guide.forked import STAND_IN, Came, Fault, Forking, sweep
from tests.guide.jigs import SECTION, TheseTips, _Looking, as_stated
from tests.guide.rigs import ANSWERS as DROP_ANSWERS
from tests.guide.rigs import new_book

MakeBoard = Callable[..., Any]
GIVEN: Mapping[str, Mapping[str, str]] = {
    "drop_impact": {"energy": "5 J", "drops": "1"},
    "pry_to_failure": {},
    "edge_twist": {"cycles": "1"},
    "cuts_to_dull": {"probes": "stepped", "step": "4", "limit": "8"},
}
"""Procedures swept, each as short as it comes."""
TRIAL = {"drop_impact": 6, "pry_to_failure": 9, "edge_twist": 9, "cuts_to_dull": 1}
"""Which of a run's recordings is the trial itself: the drop on the blade, the pull, the twisting,
the first cuts."""


def stand_in(tower: Tower, **wired: Any) -> StandIn:
    """The board in Python."""
    return StandIn(tower, boot=7, seed=3, **wired)


WEAK = TipTruth(kind=Failure.SNAP, fails_nm=2.0)
"""Snaps soon: so short a pull can be swept whole."""


@dataclass
class Setup:
    """One procedure about to run on a rig of its own."""

    procedure: str
    make_board: MakeBoard = stand_in
    recordings: int = 0  # begun so far
    _record: list[bytes] | None = None

    def __post_init__(self) -> None:
        self.tower = Tower(seed=3)
        at_arm = self.procedure in ("pry_to_failure", "edge_twist")
        self.jig = Jig(as_stated(benches.load(None)), seed=3) if at_arm else None
        at_frame = self.procedure == "cuts_to_dull"
        self.frame = CuttingFrame(FrameTruth(turn_s=1.0), 3) if at_frame else None
        self.board = self._board()
        self.person = self._person()
        self.device = Device(self.connect(), self.connect, self.person, "virtual")

    def _board(self) -> Any:
        if self.jig is not None:
            return self.make_board(self.tower, jig=self.jig, converter=Converter(self.jig, 3))
        if self.frame is not None:
            return self.make_board(
                self.tower, carriage=self.frame, converter=Converter(self.frame, 3)
            )
        return self.make_board(self.tower)

    def _person(self) -> Person:
        if self.jig is not None:
            return TheseTips(self.tower, self.jig, WEAK)
        person = Person(self.tower, 3, frame=self.frame)
        if person.at_frame is not None:
            person.at_frame.stroke_s = 0.9
        return person

    def connect(self) -> Link:
        """Opening the port, which resets the board."""
        self.board.reopen()
        link = Link(self.board, clock=self.board.clock, name="rig")
        link.stream(Kind.HEIGHT, True)
        return link

    def operator(self) -> ScriptedOperator:
        """Who answers."""
        if self.jig is not None:
            return _Looking(self.person, {**SECTION, "moved": ["unsure"]}, None)
        if self.frame is not None:
            table = {key: [told] for key, told in EDGE_ANSWERS.items()}
            return Looking(self.person.sharpness, table, lambda text: None, [])
        return ScriptedOperator(DROP_ANSWERS)

    def in_trial(self) -> bool:
        """Whether the trial itself is being recorded; to be asked all the time."""
        record = self.device.link._record
        if record is not None and record is not self._record:
            self.recordings += 1
        self._record = record
        return record is not None and self.recordings == TRIAL[self.procedure]

    def swept(
        self, folder: Path, chosen: "Chosen", faults: Mapping[str, Fault] = STAND_IN,
        briefly: bool = False, at_once: int = 1,
    ) -> list[Came]:  # fmt: skip
        """What comes of each fault at each chosen instant."""
        script = scripts.load(self.procedure)
        given = {"specimen": "K3", **GIVEN[self.procedure]}
        params = read_all(script.parameters, given)
        with new_book(folder) as book:
            runner = Runner(book, benches.load(None), self.device, self.operator())
            clock = Forking(
                self.board, faults, lambda at_s: chosen(self, at_s), folder, briefly, at_once
            )
            return sweep(clock, self.device, runner, script, params)


Chosen = Callable[[Setup, float], Iterator[str]]


def in_turn(every_s: float, where: Callable[[Setup], bool] = lambda _: True) -> Chosen:
    """Each fault in its turn, so often while anything is being recorded there."""
    last, names = [0.0], cycle(STAND_IN)

    def chosen(setup: Setup, at_s: float) -> Iterator[str]:
        if where(setup) and at_s - last[0] >= every_s:
            last[0] = at_s
            yield next(names)

    return chosen
