"""A whole virtual rig with logbook and scripted person, for the guide's tests."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
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
from rig.guide.script import Script
from rig.guide.steps import Outcome
from rig.logbook import Logbook
from rig.virtual.board.standin import StandIn
from rig.virtual.person import Person
from rig.virtual.tower.parameters import TowerTruth
from rig.virtual.tower.plant import Tower

ANSWERS = {"damage": ["none"], "fell": ["unsure"], "tower_changed": ["oiled the rods"]}


@dataclass
class VirtualRig:
    """Tower, stand-in board, person and device, as a run meets them."""

    seed: int = 1
    boot: int = 100
    truth: TowerTruth | None = None
    hook: Callable[["VirtualRig", str], None] | None = None
    tower: Tower = field(init=False)
    board: StandIn = field(init=False)
    device: Device = field(init=False)

    def __post_init__(self) -> None:
        self.tower = Tower(self.truth, seed=self.seed)
        self.board = StandIn(self.tower, boot=self.boot, seed=self.seed)
        self.device = Device(self.connect(), self.connect, Person(self.tower, self.seed), "virtual")

    def connect(self) -> Link:
        """A fresh link, as opening the port gives it (which resets the board)."""
        self.board.reopen()
        link = Link(self.board, clock=self.board.clock, name="virtual rig")
        link.stream(Kind.HEIGHT, True)
        return link

    def operator(self, answers: Mapping[str, Sequence[str]] = ANSWERS) -> ScriptedOperator:
        """A scripted person; `hook` sees every text as it is shown."""
        hook = self.hook
        return ScriptedOperator(answers, None if hook is None else lambda text: hook(self, text))


def cable_pulled_once() -> Callable[[VirtualRig, str], None]:
    """A hook that pulls the cable at the first drop and puts it back when it is waited for."""
    pulled: list[str] = []

    def hook(rig: VirtualRig, text: str) -> None:
        if text.startswith("Drop 1:") and not pulled:  # the step is done again afterwards
            pulled.append(text)
            rig.board.fault("unplugged")
        if "Waiting for it" in text:
            rig.board.fault("unplugged", 0)

    return hook


def impact(**given: str) -> tuple[Script, dict[str, Any]]:
    """The impact procedure with its parameters read."""
    script = scripts.load("drop_impact")
    wanted = {"energy": "5 J", "specimen": "K3", **given}
    return script, read_all(script.parameters, wanted)


def run(
    book: Logbook, rig: VirtualRig, script: Script, params: Mapping[str, Any],
    bench: Bench | None = None, answers: Mapping[str, Sequence[str]] = ANSWERS,
) -> tuple[int, Outcome]:  # fmt: skip
    """Start a run to its end."""
    runner = Runner(book, bench or benches.load(None), rig.device, rig.operator(answers))
    return runner.start(script, params)


def new_book(folder: Path, hours_ago: float = 0.0) -> Logbook:
    """An empty logbook; its clock may be late, so that what is written is old."""
    return Logbook.create(
        folder / "study.logbook",
        title="study",
        now=lambda: datetime.now(UTC) - timedelta(hours=hours_ago),
    )
