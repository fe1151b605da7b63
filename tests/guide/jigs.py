"""A pry and twist jig with a chosen tip, on any board, with a person at it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from rig import bench as benches
from rig.bench import Bench
from rig.board.link import Link
from rig.board.wire import Kind
from rig.guide import script as scripts
from rig.guide.device import Device
from rig.guide.operator import ScriptedOperator
from rig.guide.parameters import read_all
from rig.guide.runner import Runner
from rig.guide.steps import Ask, Outcome
from rig.logbook import Logbook
from rig.session.virtual_truth import jig_nominal
from rig.virtual.arm.plant import Jig
from rig.virtual.arm.truth import Failure, JigTruth, TipTruth
from rig.virtual.board.standin import StandIn
from rig.virtual.person import Person
from rig.virtual.tower.parameters import STANDARD_GRAVITY
from rig.virtual.tower.plant import Tower

SECTION = {"thickness": ["1.2 mm"], "width": ["10 mm"], "section_at": ["2 mm"]}
TIPS = {
    "snap": TipTruth(kind=Failure.SNAP),
    "bend": TipTruth(kind=Failure.BEND, plateau_nm=6.5),
    "slip": TipTruth(kind=Failure.SLIP, fails_nm=4.0),
    "survived": TipTruth(kind=Failure.SURVIVE, yield_nm=60.0, plateau_nm=90.0),
}

MakeBoard = Callable[[Tower, Jig], Any]


def stand_in(tower: Tower, jig: Jig) -> StandIn:
    """The board in Python."""
    return StandIn(tower, jig, boot=7, seed=3)


def as_stated(bench: Bench) -> JigTruth:
    """A jig that is just what the bench says of it, its arm all but balanced."""
    belief = jig_nominal(bench, STANDARD_GRAVITY).belief
    return replace(belief, weight_nm=0.02)


class TheseTips(Person):
    """A person who seats the tip that the test chose."""

    def __init__(self, tower: Tower, jig: Jig, chosen: TipTruth) -> None:
        super().__init__(tower, 3, jig)
        self._chosen, self._own = chosen, jig

    def act(self, hand: str, detail: Mapping[str, float | str]) -> float:
        if hand == "seat":
            return max(0.0, self._own.seat(self._chosen) - self._own.now_s)
        return super().act(hand, detail)


class _Looking(ScriptedOperator):
    """Sees what became of the tip or the edge."""

    def __init__(
        self, person: Person, answers: Mapping[str, Sequence[str]],
        watch: Callable[[str], None] | None,
    ) -> None:  # fmt: skip
        super().__init__(answers, watch)
        self._person = person

    def ask(self, step: Ask) -> Callable[[], str | None]:
        told = self._person.tip()["tip"] if step.key in ("tip", "tip_again") else None
        if told is None and "affected" in step.text + step.key:
            told = self._person.edge_after_twist()["width"]
        if told is None and step.key in ("damage", "depth"):
            told = self._person.edge_after_twist()[step.key]
        return super().ask(step) if told is None else lambda: told


@dataclass
class JigRig:
    """Tower, jig, board, person and device; `hook` sees every text as it is shown."""

    tip: TipTruth
    make_board: MakeBoard = stand_in
    truth: JigTruth = field(default_factory=lambda: as_stated(benches.load(None)))
    hook: Callable[["JigRig", str], None] | None = None
    bench: Bench = field(default_factory=lambda: benches.load(None))

    def __post_init__(self) -> None:
        self.tower = Tower(seed=3)
        self.jig = Jig(self.truth, seed=3)
        self.board = self.make_board(self.tower, self.jig)
        self.person = TheseTips(self.tower, self.jig, self.tip)
        self.device = Device(self.connect(), self.connect, self.person, "virtual")

    def connect(self) -> Link:
        """A fresh link."""
        self.board.reopen()
        link = Link(self.board, clock=self.board.clock, name="jig")
        link.stream(Kind.HEIGHT, True)
        return link

    def run(
        self, folder: Path, procedure: str, answers: Mapping[str, Sequence[str]] | None = None,
        **given: str,
    ) -> tuple[Path, Outcome]:  # fmt: skip
        """A whole run into a new logbook; its path and the conclusion."""
        script = scripts.load(procedure)
        hook = self.hook
        watch = None if hook is None else lambda text: hook(self, text)
        operator = _Looking(self.person, {**SECTION, **(answers or {})}, watch)
        with Logbook.create(folder / "jig.logbook", title="jig") as book:
            params = read_all(script.parameters, {"specimen": "K3", **given})
            _, told = Runner(book, self.bench, self.device, operator).start(script, params)
            return book.path, told
