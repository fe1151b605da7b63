"""Whole runs on the virtual rig without a person: for the demonstration."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rig.board.wire import Kind
from rig.guide.device import BenchHands
from rig.guide.operator import ScriptedOperator
from rig.guide.steps import Ask
from rig.session.devices import virtual_device
from rig.session.virtual_eye import looks

if TYPE_CHECKING:
    from rig.bench import Bench
    from rig.calibration.certificate import Certificate
    from rig.logbook.store import Logbook
    from rig.virtual.arm.draw import Made

Say = Callable[[str], None]
CALIBRATIONS = ("calibrate_height", "calibrate_load", "calibrate_angle")
AT_THE_TOWER = ("drop_impact", "staircase_impact", "calibrate_height")
WEIGHTS = "0.5 kg, 2 kg, 5 kg, 10 kg"


class Eyes(ScriptedOperator):
    """Confirms at once, and looks at the virtual blade when a question asks for it."""

    def __init__(
        self, look: Callable[[Ask], str | None], answers: Mapping[str, list[str]], say: Say
    ) -> None:
        super().__init__(answers, say)
        self._look = look

    def ask(self, step: Ask) -> Callable[[], str | None]:
        """What the eye sees, else the answer in the table, else the step's default."""
        seen = self._look(step)
        if seen is None:
            return super().ask(step)
        self.tell(f"{step.text}: {seen}")
        return lambda: seen


@dataclass
class Labelled:
    """Hands that are handed coded blades: who tests never hears a blade's own name."""

    hands: BenchHands
    key: Mapping[str, str]

    def act(self, hand: str, detail: Mapping[str, float | str]) -> float:
        """Begin one action with the blade behind the code."""
        told = dict(detail)
        if "specimen" in told:
            told["specimen"] = self.key.get(str(told["specimen"]), str(told["specimen"]))
        return self.hands.act(hand, told)


@dataclass
class Rehearsal:
    """One virtual rig with its bench and logbook.

    Attributes:
        bench: as stated; certificates are added run by run.
        book: the logbook of all runs.
        seed: which virtual rig.
        blades: how the blade of a name is made; left out, by the name's first letter.
        calibrated: certificates of this same rig in another logbook.
    """

    bench: "Bench"
    book: "Logbook"
    seed: int
    blades: "Made | None" = None
    calibrated: "Sequence[Certificate]" = ()
    tower: Any = field(init=False)
    jig: Any = field(init=False)
    key: Mapping[str, str] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self.device, self.tower, self._person = virtual_device(
            self.bench, self.seed, blades=self.blades
        )
        self.jig = self._person.jig

    def run(
        self, procedure: str, say: Say, answers: Mapping[str, list[str]] | None = None,
        **given: str,
    ) -> tuple[int, Mapping[str, Any]]:  # fmt: skip
        """A procedure from its beginning to its end; its run number and conclusion."""
        from rig.calibration.certificate import newest
        from rig.calibration.inforce import certified
        from rig.guide import script as scripts
        from rig.guide.parameters import read_all
        from rig.guide.runner import Runner
        from rig.logbook.certificates import in_book

        script = scripts.load(procedure)
        known = newest((*self.calibrated, *in_book(self.book)), self.bench)
        bench = certified(self.bench, known, datetime.now(UTC))
        look = looks(self._person, procedure)
        operator = Eyes(look, answers or {}, say)
        # Heights are of no use at the arm, and a virtual second without them costs half.
        self.device.link.stream(Kind.HEIGHT, procedure in AT_THE_TOWER)
        runner = Runner(self.book, bench, self.device, operator)
        return runner.start(script, read_all(script.parameters, given))

    def true_life_cuts(self, specimen: str) -> float:
        """How many cuts in the first sheet the edge of a blade truly shaves for."""
        assert self._person.at_frame is not None  # the virtual device always has one
        return self._person.at_frame.true_life_cuts(specimen, "sheet 1")

    def label(self, key: Mapping[str, str]) -> None:
        """From now on the hands are given coded blades; `key` is code -> blade."""
        self.key = key
        self.device.hands = Labelled(self._person, key)

    def calibrate(self) -> list[str]:
        """Height, load and angle; the certificates' sentences."""
        told = []
        for procedure in CALIBRATIONS:
            given = {"operator": "virtual hands"}
            if procedure == "calibrate_load":
                given["weights"] = WEIGHTS
            _, outcome = self.run(procedure, lambda _: None, None, **given)
            certificate = outcome["certificate"]
            told.append(f"{certificate['channel']}: {certificate['sentence']}")
        return told


def free(path: Path) -> Path:
    """`path`, or the first of its numbered names that is not taken: nothing is overwritten."""
    number, found = 1, path
    while found.exists():
        number += 1
        found = path.with_stem(f"{path.stem}-{number}")
    return found
