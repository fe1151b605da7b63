"""Drives a procedure: performs each step, journals its outcome, then lets the script go on.

Because the outcome is on the disk before the script sees it, a run that died is resumed by
running the script again and handing it the journaled outcomes until they are used up.
"""

import platform
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from rig import __version__
from rig.bench import Bench, practising
from rig.errors import RigError
from rig.guide.correcting import Done, Kept, correct
from rig.guide.device import WORDS, Device
from rig.guide.hand_history import deeds
from rig.guide.leave import make_safe
from rig.guide.operator import Operator
from rig.guide.performer import Performer
from rig.guide.player import Player
from rig.guide.script import Script
from rig.guide.steps import Outcome, Step, plain
from rig.guide.words import SaidBack
from rig.logbook.journal import STEP
from rig.logbook.records import PRACTICE, Run
from rig.logbook.store import Logbook

RESUMED, INTERRUPTED = "resumed", "interrupted"
MISTAKES = (TypeError, ValueError, KeyError, AttributeError)


class ScriptChanged(RigError):
    """A resumed run's script no longer yields the steps that the journal holds."""


def require_same_rig(run: Run, kind: str) -> None:
    """Refuse to go on with a run on another kind of rig than it was begun on.

    Raises:
        RigError: naming both.
    """
    began = run.versions.get("device", "")
    if began != kind:
        raise RigError(
            f"run {run.run_id} was begun on {WORDS.get(began, began)}, this is {WORDS[kind]}",
            remedy=f"resume it {'with' if began == 'virtual' else 'without'} --virtual, or give it "
            "up with --abandon 'reason'",
        )


@dataclass
class Runner:
    """Runs procedures on one device, with one operator, into one logbook.

    Attributes:
        reads_code: whether the blade's code is read off its label before it is used.
    """

    book: Logbook
    bench: Bench
    device: Device
    operator: Operator
    reads_code: bool = False

    def start(self, script: Script, params: Mapping[str, Any]) -> tuple[int, Outcome]:
        """A new run from the beginning. Gives its number and what the procedure concluded.

        Raises:
            RigError: the script refuses what is asked; then nothing was begun.
        """
        virtual = self.device.kind in PRACTICE
        bench = practising(self.bench) if virtual else self.bench
        script.check(params, bench)
        hello = self.device.link.hello
        versions: dict[str, Any] = {
            "bladerig": __version__,
            "python": platform.python_version(),
            "firmware": ".".join(map(str, hello.firmware)) if hello else "",
            "device": self.device.kind,
            "script": script.text,
            "script_path": str(script.path) if script.own else "",
            "asked": script.shown(params),
            "bench": bench.model_dump(mode="json"),
        }
        run_id = self.book.start_run(script.name, script.sha256, dict(params), versions)
        return run_id, self._run(run_id, Player(script, params, bench), [])

    def resume(self, run_id: int, script: Script) -> Outcome:
        """Goes on with an unfinished run exactly where its journal ends.

        Raises:
            ScriptChanged: the script differs from the one the run was started with.
            RigError: it was begun on another kind of rig.
        """
        run = self.book.run(run_id)
        require_same_rig(run, self.device.kind)
        if run.procedure_hash != script.sha256:
            raise ScriptChanged(
                f"the procedure '{run.procedure}' has changed since run {run_id} began",
                remedy="abandon that run with a reason, or bring the old script back",
            )
        done = [row.body for row in self.book.journal(run_id, STEP)]
        self.book.append(RESUMED, {"at_step": len(done)}, run_id)
        self.device.recall(deeds(self.book, run_id, done))
        for words in make_safe([row["step"] for row in done], None):
            self.operator.tell(f"FIRST: {words}")
        bench = Bench.model_validate(run.versions["bench"])
        return self._run(run_id, Player(script, run.params, bench), done)

    def _run(self, run_id: int, player: Player, done: list[Done]) -> Outcome:
        performer = Performer(self.book, run_id, self.device, self.operator)
        if self.reads_code:
            performer.code = str(player.params.get("specimen") or "")
            performer.clamped = any(
                row["step"].get("detail", {}).get("specimen") == performer.code for row in done
            )
        try:
            self._drive(performer, player, done)
        except BaseException as error:
            performer.disarm()
            self._leave(player, done, error)
            told = (
                "stopped from the keyboard" if isinstance(error, KeyboardInterrupt) else str(error)
            )
            told = told or type(error).__name__
            with suppress(RigError):  # disk or clock may be the trouble itself: `error` tells
                self.book.append(INTERRUPTED, {"why": told}, run_id)
                if player.gave_up:  # a replay would come to the same end
                    self.book.end_run(run_id, "abandoned", told)
            raise
        finally:
            player.close()
        self.book.end_run(run_id, "finished", "the procedure came to its end")
        return player.conclusion

    def _drive(self, performer: Performer, player: Player, done: list[Done]) -> None:
        """Through the script to its end; an answer that is changed begins it anew."""
        kept = Kept()
        while True:
            try:
                self._play(performer, player, done, kept)
                return
            except SaidBack:
                kept = correct(performer, done, player.waits_at)
                player.begin_anew()

    def _play(self, performer: Performer, player: Player, done: list[Done], kept: Kept) -> None:
        outcome: Outcome | None = None
        index = 0
        while (step := player.next(outcome)) is not None:
            told = plain(step.described())
            player.waits_at = told
            if index < len(done):
                _require_same(index, told, done[index]["step"])
            else:
                done.append(self._done(performer, player, step, index, kept.outcome(told)))
            outcome = done[index]["outcome"]
            index += 1

    def _done(
        self, performer: Performer, player: Player, step: Step, index: int, known: Outcome | None
    ) -> Done:
        """The row of a step that was performed, or whose outcome is kept."""
        commit = None if known is not None else self._performed(performer, player, index, step)
        with self.book.transaction():
            outcome: Outcome = plain(dict((commit() if commit else known) or {}))
            body = {"index": index, "step": plain(step.described()), "outcome": outcome}
            self.book.append(STEP, body, performer.run_id)
        return body

    def _performed(
        self, performer: Performer, player: Player, index: int, step: Step
    ) -> Callable[[], Outcome]:
        try:
            return performer.perform(index, step)
        except MISTAKES as error:
            fault = player.fault_in_step(error)
            if fault is None:
                raise
            raise fault from error

    def _leave(self, player: Player, done: list[Done], error: BaseException) -> None:
        """Before anything else: what to make safe at the rig."""
        if isinstance(error, (KeyboardInterrupt, RigError)):
            for words in make_safe([row["step"] for row in done], player.waits_at):
                self.operator.tell(f"FIRST: {words}")


def _require_same(index: int, told: Any, journaled: Any) -> None:
    if told != journaled:
        raise ScriptChanged(
            f"step {index} is not the one in the journal",
            remedy="abandon that run with a reason and start a new one",
        )
