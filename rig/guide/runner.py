"""Drives a procedure: performs each step, journals its outcome, then lets the script go on.

Because the outcome is on the disk before the script sees it, a run that died is resumed by
running the script again and handing it the journaled outcomes until they are used up.
"""

import json
import platform
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from rig import __version__
from rig.bench import Bench
from rig.errors import RigError
from rig.guide.device import Device
from rig.guide.operator import Operator
from rig.guide.performer import Performer
from rig.guide.script import Script
from rig.guide.steps import Outcome, Procedure
from rig.logbook.store import Logbook

STEP, RESUMED, INTERRUPTED = "step", "resumed", "interrupted"


class ScriptChanged(RigError):
    """A resumed run's script no longer yields the steps that the journal holds."""


@dataclass
class Runner:
    """Runs procedures on one device, with one operator, into one logbook."""

    book: Logbook
    bench: Bench
    device: Device
    operator: Operator

    def start(self, script: Script, params: Mapping[str, Any]) -> tuple[int, Outcome]:
        """A new run from the beginning. Gives its number and what the procedure concluded."""
        hello = self.device.link.hello
        versions: dict[str, Any] = {
            "bladerig": __version__,
            "python": platform.python_version(),
            "firmware": ".".join(map(str, hello.firmware)) if hello else "",
            "device": self.device.kind,
            "script": script.text,
            "bench": self.bench.model_dump(mode="json"),
        }
        run_id = self.book.start_run(script.name, script.sha256, dict(params), versions)
        return run_id, self._run(run_id, script.begin(params, self.bench), [])

    def resume(self, run_id: int, script: Script) -> Outcome:
        """Goes on with an unfinished run exactly where its journal ends.

        Raises:
            ScriptChanged: the script differs from the one the run was started with.
        """
        run = self.book.run(run_id)
        if run.procedure_hash != script.sha256:
            raise ScriptChanged(
                f"the procedure '{run.procedure}' has changed since run {run_id} began",
                remedy="abandon that run with a reason, or bring the old script back",
            )
        done = [row.body for row in self.book.journal(run_id, STEP)]
        self.book.append(RESUMED, {"at_step": len(done)}, run_id)
        bench = Bench.model_validate(run.versions["bench"])
        return self._run(run_id, script.begin(run.params, bench), done)

    def _run(self, run_id: int, procedure: Procedure, done: list[dict[str, Any]]) -> Outcome:
        performer = Performer(self.book, run_id, self.device, self.operator)
        try:
            conclusion = self._drive(performer, procedure, done)
        except BaseException as error:
            performer.disarm()
            told = (
                "stopped from the keyboard" if isinstance(error, KeyboardInterrupt) else str(error)
            )
            with suppress(RigError):  # disk or clock may be the trouble itself: `error` tells
                body = {"why": told or type(error).__name__}
                self.book.append(INTERRUPTED, body, run_id)
            raise
        finally:
            procedure.close()
        self.book.end_run(run_id, "finished", "the procedure came to its end")
        return conclusion

    def _drive(
        self, performer: Performer, procedure: Procedure, done: list[dict[str, Any]]
    ) -> Outcome:
        outcome: Outcome | None = None
        index = 0
        while True:
            try:
                step = next(procedure) if outcome is None else procedure.send(outcome)
            except StopIteration as end:
                return dict(end.value or {})
            told = plain(step.described())
            if index < len(done):
                _require_same(index, told, done[index]["step"])
                outcome = done[index]["outcome"]
            else:
                commit = performer.perform(index, step)
                with self.book.transaction():
                    outcome = plain(dict(commit()))
                    body = {"index": index, "step": told, "outcome": outcome}
                    self.book.append(STEP, body, performer.run_id)
            index += 1


def plain(value: Any) -> Any:
    """As it will come back from the journal, so that a resumed script sees the very same."""
    return json.loads(json.dumps(value, allow_nan=False))


def _require_same(index: int, told: Any, journaled: Any) -> None:
    if told != journaled:
        raise ScriptChanged(
            f"step {index} is not the one in the journal",
            remedy="abandon that run with a reason and start a new one",
        )
