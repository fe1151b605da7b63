"""A script's generator, asked for one step after another; its own faults are told with their line.

A script is run again from its start when a run is resumed. So whatever it raises by itself it
raises again on each replay: `gave_up` says that nothing but a new run can help.
"""

from collections.abc import Generator, Mapping
from contextlib import suppress
from types import GeneratorType
from typing import Any

from rig.bench import Bench
from rig.errors import RigError
from rig.guide.script import Script, line_in
from rig.guide.stepcheck import against
from rig.guide.steps import Outcome, Procedure, Step, plain

MEND = "mend the script, then start a new run"


class Player:
    """One life of a script.

    Attributes:
        conclusion: what the procedure came to, once `next` gave None.
        gave_up: the script itself ended it with an error.
        params: the run's settings.
        waits_at: the step that is under way, as plain data.
    """

    def __init__(self, script: Script, params: Mapping[str, Any], bench: Bench) -> None:
        self._script, self.params, self._bench = script, params, bench
        self._procedure: Procedure | None = None
        self.conclusion: Outcome = {}
        self.gave_up = False
        self.waits_at: dict[str, Any] | None = None

    def begin_anew(self) -> None:
        """From the script's first step again."""
        self.close()
        self._procedure = None

    def next(self, outcome: Outcome | None) -> Step | None:
        """The step that follows on an outcome (None: the first); None at the end.

        Raises:
            RigError: the script raised it, or is one of the user's own and has a fault.
        """
        try:
            step = self._advance(outcome)
        except StopIteration as end:
            self.conclusion = self._concluded(end.value)
            return None
        except RigError:
            self.gave_up = True
            raise
        except (Exception, SystemExit) as error:
            if not self._script.own:  # a fault of this program crashes loudly
                raise
            raise self._fault(_named(error), line_in(self._script.path, error)) from error
        if self._script.own and (why := against(step)):
            raise self._fault(why, self._line())
        return step

    def fault_in_step(self, error: Exception) -> RigError | None:
        """What to tell when a step of somebody's own could not be performed; None for ours."""
        return self._fault(_named(error), self._line()) if self._script.own else None

    def close(self) -> None:
        """Let the generator go."""
        if self._procedure is not None:
            with suppress(Exception):
                self._procedure.close()

    def _advance(self, outcome: Outcome | None) -> Step:
        if self._procedure is None:
            begun = self._script.begin(self.params, self._bench)
            if not isinstance(begun, Generator):
                raise self._fault("procedure yields no steps", self._script.line)
            self._procedure = begun
        return next(self._procedure) if outcome is None else self._procedure.send(outcome)

    def _concluded(self, value: Any) -> Outcome:
        try:
            return dict(plain({} if value is None else dict(value)))
        except (TypeError, ValueError):
            if not self._script.own:
                raise
            what = f"procedure returned {value!r}, which is no mapping of plain values"
            raise self._fault(what, self._script.line) from None

    def _fault(self, what: str, line: int | None) -> RigError:
        self.gave_up = True
        where = self._script.address + (f":{line}" if line else "")
        return RigError(what, where=where, remedy=MEND)

    def _line(self) -> int | None:
        """The line of the script at which it waits."""
        found: int | None = None
        inner: Any = self._procedure
        while isinstance(inner, GeneratorType):
            frame = inner.gi_frame
            if frame is not None and frame.f_code.co_filename == str(self._script.path):
                found = frame.f_lineno
            inner = inner.gi_yieldfrom
        return found


def _named(error: BaseException) -> str:
    return " ".join(f"{type(error).__name__}: {error}".split())
