"""Plays the edge's procedures without any board: an edge that wears, answers, counted strokes."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from rig import bench as benches
from rig.bench import Bench
from rig.guide import kinds
from rig.guide import script as scripts
from rig.guide.answers import understood
from rig.guide.operator import ScriptedOperator
from rig.guide.parameters import read_all
from rig.guide.steps import Ask, Do, Measure, Note, Read, Step, Strokes, Tell, plain
from rig.virtual.frame.hands import CuttingHands
from rig.virtual.frame.plant import CuttingFrame
from rig.virtual.frame.wear import WearTruth

SHORT_LIVED = WearTruth(sharp_n=0.6, rise=1.0, power=0.6)  # shaves for about 41 cuts
ANSWERS = {"lot": "L7", "media_thickness": "4 mm"}


@dataclass
class Play:
    """One virtual blade and person.

    Attributes:
        answers: by key, in order; the last one is used again, the edge answers what is left
            out or says "look".
        strokes: what the next Strokes steps come to instead of all that was asked.
        told: every text, in order; notes: every note's body by kind.
    """

    answers: dict[str, list[str]] = field(default_factory=dict)
    strokes: list[dict[str, Any]] = field(default_factory=list)
    truth: WearTruth = SHORT_LIVED
    bench: Bench = field(default_factory=lambda: benches.load(None))
    told: list[str] = field(default_factory=list)
    notes: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    steps: list[Step] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.frame = CuttingFrame(seed=1)
        self.hands = CuttingHands(self.frame, 1)
        self.hands.wears = self.truth

    def run(self, name: str = "cuts_to_dull", **given: str) -> dict[str, Any]:
        """Play a procedure from its beginning to its end; its conclusion."""
        script = scripts.load(name)
        params = read_all(script.parameters, {"specimen": "K3", **given})
        script.check(params, self.bench)
        going = script.begin(params, self.bench)
        step = next(going)
        try:
            while True:
                self.steps.append(step)
                step = going.send(plain(self._done(step)))
        except StopIteration as end:
            return dict(plain(end.value))

    def _done(self, step: Step) -> Mapping[str, Any]:
        self.told.append(step.text)
        if isinstance(step, Ask):
            return self._answer(step)
        if isinstance(step, Strokes):
            return self._made(step)
        if isinstance(step, Measure):
            return {"result_id": 1, **kinds.compute(step.measurand, b"", plain(step.settings))}
        if isinstance(step, Read):
            return {"mean": 1000.0, "sd": 1.0, "n": 80, "reasons": [], "raw_id": 1,
                    "result_id": 1, "boot": 1}  # fmt: skip
        if isinstance(step, Note):
            self.notes.setdefault(step.kind, []).append(dict(step.body))
        elif isinstance(step, Do) and step.hand == "strokes":
            self._cut(int(step.detail["count"]))
        elif isinstance(step, Do) and step.hand:
            self.hands.act(step.hand, step.detail)
        return {}

    def _cut(self, count: int) -> list[int]:
        """Cuts with whatever blade is in the clamp; the load cell's codes."""
        edge, codes = self.frame.edge, []
        for _ in range(count if edge else 0):
            assert edge is not None
            codes.append(1000 + round(1e4 * edge.cutting_n()))
            edge.cut()
        return codes

    def _answer(self, step: Ask) -> Mapping[str, Any]:
        """A wrong answer is asked again, as the performer does."""
        waiting = self.answers.get(step.key, [])
        seen = {**ANSWERS, **self.hands.look()}
        said = waiting[0] if waiting else seen.get(step.key, step.default)
        if said == "look":
            said = seen[step.key]
        if len(waiting) > 1:
            waiting.pop(0)
        return understood(step, said)

    def _made(self, step: Strokes) -> dict[str, Any]:
        outcome: dict[str, Any] = {
            "counted": step.count, "rejected": {}, "ended": "COUNT", "mean_codes": [],
            "saturated": 0, "raw_ids": [], "boot": 1,
        }  # fmt: skip
        if self.strokes:
            outcome |= self.strokes.pop(0)
        codes = self._cut(outcome["counted"])
        return outcome | {"mean_codes": codes if step.load else []}

    def asked(self, key: str) -> list[str]:
        """Texts of the questions of that key."""
        return [step.text for step in self.steps if isinstance(step, Ask) and step.key == key]

    def counts(self) -> list[int]:
        """Strokes asked for, step by step."""
        return [step.count for step in self.steps if isinstance(step, Strokes)]

    def said(self, part: str) -> bool:
        """Whether something was told with these words in it."""
        return any(part in step.text for step in self.steps if isinstance(step, Tell))


Watch = Callable[[str], None]


class Looking(ScriptedOperator):
    """A scripted person at a whole virtual rig who looks at the edge when asked."""

    def __init__(
        self, look: Callable[[], Mapping[str, str]], answers: Mapping[str, Sequence[str]],
        watch: Watch | None = None, words: list[str] | None = None,
    ) -> None:  # fmt: skip
        super().__init__(answers, watch)
        self._look, self.words, self.lines = look, [] if words is None else words, list[str]()

    def ask(self, step: Ask) -> Callable[[], str | None]:
        """What the eye sees, else the table's answer, else the step's default."""
        if step.key in self._answers:
            return super().ask(step)
        seen = self._look().get(step.key)
        if seen is None:
            return super().ask(step)
        self.tell(step.text)
        return lambda: seen

    def live(self, text: str) -> None:
        """Keep the reading."""
        self.lines.append(text)

    def typed(self, word: str) -> bool:
        """Whether this word is next on the list of what is typed unasked."""
        if self.words[:1] == [word]:
            self.words.pop(0)
            return True
        return False
