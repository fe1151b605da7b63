"""Drives a calibration's procedure step by step, readings from a simulated jig; no bytes."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from rig.bench import Bench
from rig.guide import kinds, script
from rig.guide.parameters import read_all
from rig.guide.runner import plain
from rig.guide.steps import Ask, Do, Measure, Note, Procedure, Read, Recall, Step
from tests.calibration.settings import BENCH

Readings = Callable[[Read], dict[str, Any]]


class Driver:
    """One procedure, its readings and a person's answers.

    Attributes:
        texts: everything shown, in order.
        notes: (kind, body) in order.
    """

    def __init__(
        self, readings: Readings, answers: Mapping[str, Sequence[str]] | None = None,
        recalled: Mapping[str, Sequence[dict[str, Any]]] | None = None,
    ) -> None:  # fmt: skip
        self._readings = readings
        self._answers = {key: list(values) for key, values in (answers or {}).items()}
        self._recalled = recalled or {}
        self.texts: list[str] = []
        self.notes: list[tuple[str, dict[str, Any]]] = []
        self._count = 0

    def run(self, name: str, bench: Bench = BENCH, **given: str) -> dict[str, Any]:
        """A built-in procedure to its end: its conclusion."""
        built = script.load(name)
        params = read_all(built.parameters, {"operator": "AB", **given})
        return self.drive(built.begin(params, bench))

    def drive(self, procedure: Procedure) -> dict[str, Any]:
        outcome: Any = None
        while True:
            try:
                step = next(procedure) if outcome is None else procedure.send(outcome)
            except StopIteration as end:
                return plain(end.value or {})  # type: ignore[no-any-return]
            self.texts.append(step.text)
            plain(step.described())
            outcome = plain(self._perform(step))

    def _perform(self, step: Step) -> dict[str, Any]:
        match step:
            case Read():
                self._count += 1
                got = {"raw_id": self._count, "result_id": self._count, "boot": 7}
                return {**got, "span_s": 2.0, "drift": 0.0, **self._readings(step)}
            case Ask():
                told = self._answers.get(step.key, [])
                value = (told.pop(0) if len(told) > 1 else told[0]) if told else step.default
                assert value, f"no answer for {step.key}"
                return {"value": value}
            case Measure():
                settings = plain(step.settings)
                return {"result_id": 900, **kinds.compute(step.measurand, b"", settings)}
            case Recall():
                found = [*self._recalled.get(step.kind, [])]
                found += [body for kind, body in self.notes if kind == step.kind]
                return {"found": found[::-1][: step.limit], "boot": 7}
            case Note():
                self.notes.append((step.kind, plain(dict(step.body))))
                return {"row": len(self.notes)}
            case Do():
                return {}
            case _:
                return {}
