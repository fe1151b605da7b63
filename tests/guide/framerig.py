"""A whole virtual cutting frame with logbook and scripted person, for the guide's tests."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rig import bench as benches
from rig.bench import Bench
from rig.board.link import Link
from rig.board.wire import Kind
from rig.guide import script as scripts
from rig.guide.device import Device
from rig.guide.parameters import read_all
from rig.guide.runner import Runner
from rig.guide.script import Script
from rig.guide.steps import Outcome
from rig.logbook import Logbook
from rig.virtual.board.converter import Converter
from rig.virtual.board.standin import StandIn
from rig.virtual.frame.plant import CuttingFrame, FrameTruth
from rig.virtual.person import Person
from rig.virtual.tower.plant import Tower
from tests.guide.edgeplay import ANSWERS, Looking

Hook = Callable[["FrameRig", str], None]


class Cut(BaseException):
    """The power of the computer goes."""


@dataclass
class FrameRig:
    """Tower (for guard and button), frame, stand-in board, person and device.

    `resets`: opening the port resets the board, as most serial adapters do.
    """

    seed: int = 1
    boot: int = 100
    turn_s: float = 1.0
    resets: bool = True
    load: bool = False
    hook: Hook | None = None
    live: Hook | None = None
    words: list[str] = field(default_factory=list)
    board: StandIn = field(init=False)
    links: list[Link] = field(default_factory=list)

    def __post_init__(self) -> None:
        tower, frame = (
            Tower(seed=self.seed),
            CuttingFrame(FrameTruth(turn_s=self.turn_s), self.seed),
        )
        self.tower, self.frame = tower, frame
        converter = Converter(frame, self.seed) if self.load else None
        self.board = StandIn(
            tower, converter=converter, boot=self.boot, seed=self.seed, carriage=frame
        )
        self.person = Person(tower, self.seed, frame=frame)
        assert self.person.at_frame is not None
        self.hands = self.person.at_frame
        self.hands.stroke_s, self.hands.partial, self.hands.hesitant = 0.9, 0.0, 0.0
        self.device = Device(self.connect(), self.connect, self.person, "virtual")

    def connect(self) -> Link:
        """A fresh link, as opening the port gives it."""
        if self.resets:
            self.board.reopen()
        self.board._port.is_open = True
        link = Link(self.board, clock=self.board.clock, name="virtual rig")
        link.stream(Kind.HEIGHT, True)
        self.links.append(link)  # a link that is forgotten closes the port
        return link

    def operator(self, answers: Mapping[str, Sequence[str]] = ANSWERS) -> "Watched":
        """A scripted person who looks at the virtual edge."""
        table = {key: [value] if isinstance(value, str) else value for key, value in
                 {**ANSWERS, **answers}.items()}  # fmt: skip
        return Watched(self, table)


class Watched(Looking):
    """A person whose every text, and every live line, the rig's hooks may act upon."""

    def __init__(self, rig: FrameRig, answers: Mapping[str, Sequence[str]]) -> None:
        super().__init__(rig.person.sharpness, answers, self._tell, rig.words)
        self._rig = rig

    def _tell(self, text: str) -> None:
        if self._rig.hook is not None:
            self._rig.hook(self._rig, text)

    def live(self, text: str) -> None:
        """A reading; the hook may pull a cable at it."""
        super().live(text)
        if self._rig.live is not None:
            self._rig.live(self._rig, text)


def one_stretch(folder: Path, **fields: object) -> Script:
    """A script of a single Strokes step, and the questions after a restart."""
    given = {"trial": "t", "count": 10, "driven": False, "min_ms": 500, "max_ms": 8000,
             "hand": "strokes", **fields}  # fmt: skip
    listed = ", ".join(f"{name}={value!r}" for name, value in given.items())
    path = folder / "stretch.py"
    path.write_text(
        "from rig.guide.steps import Strokes\n"
        "TITLE = 'one stretch'\n"
        "def procedure(params, bench):\n"
        f"    made = yield Strokes('Cut.', {listed})\n"
        "    return dict(made)\n"
    )
    return scripts.load(str(path))


def play(
    book: Logbook, rig: FrameRig, script: Script, answers: Mapping[str, Sequence[str]] = ANSWERS,
    bench: Bench | None = None, given: Mapping[str, str] | None = None,
) -> tuple[Outcome, "Watched"]:  # fmt: skip
    """Start a run, or go on with the unfinished one, to its end."""
    operator = rig.operator(answers)
    runner = Runner(book, bench or benches.load(None), rig.device, operator)
    unfinished = book.unfinished_runs()
    if unfinished:
        return runner.resume(unfinished[-1].run_id, script), operator
    params: dict[str, Any] = read_all(script.parameters, given or {})
    return runner.start(script, params)[1], operator
