"""Performs single steps on the bench.

Each way of performing gives back a function that stores what came of it; the runner calls that
inside the transaction that journals the outcome, so raw data, result and outcome are on the disk
together or not at all.
"""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from rig.board.link import Link, LinkError, LinkLost
from rig.board.wire import Op
from rig.errors import RigError
from rig.guide import heights, kinds
from rig.guide.answers import offered, shown, understood
from rig.guide.confirming import confirmed
from rig.guide.device import Device
from rig.guide.hazards import Warned
from rig.guide.operator import RESUME, Operator
from rig.guide.readings import Reader
from rig.guide.release import Releaser
from rig.guide.safe import make_ready
from rig.guide.steps import (
    Ask,
    Do,
    Measure,
    Note,
    Outcome,
    Raise,
    Read,
    Ready,
    Recall,
    Record,
    Release,
    Step,
    Strokes,
    Tell,
    Touch,
)
from rig.guide.strokes import Stroker
from rig.guide.tryout import Dry, Notice, Refusal, Tryout
from rig.logbook.journal import STEP
from rig.logbook.store import Logbook
from rig.units import UNITS

LINE, LABEL = "line", "label_read"
RECONNECT_LIMIT_S = 600.0
ASK_LIMIT = 20
Commit = Callable[[], Outcome]


@dataclass
class Performer:
    """One run's hands on the device.

    Attributes:
        code: of the blade, to be read off its label before it is used; "" when nobody asks for it
            or it was read.
        clamped: whether that blade was clamped before this life of the run began.
    """

    book: Logbook
    run_id: int
    device: Device
    operator: Operator
    warned: Warned = field(default_factory=Warned)
    code: str = ""
    clamped: bool = False
    _asked: tuple[Ask | None, int] = (None, 0)
    _ways: dict[type[Step], Callable[[int, Any], Commit]] = field(init=False)

    def __post_init__(self) -> None:
        self._ways = {
            Tell: self._tell,
            Do: self._do,
            Ask: self._ask,
            Ready: self._ready,
            Touch: self._touch,
            Raise: self._raise,
            Release: self._release,
            Read: self._read,
            Record: self._record,
            Strokes: self._strokes,
            Measure: self._measure,
            Recall: self._recall,
            Note: self._note,
            Notice: lambda _, step: self._tryout().notice(step),
            Refusal: lambda _, step: self._tryout().refusal(step),
            Dry: lambda index, step: self._tryout().dry(index, step),
        }

    @property
    def link(self) -> Link:
        """The line as it is now (a new one after a replug)."""
        return self.device.link

    def perform(self, index: int, step: Step) -> Commit:
        """Do the step; a lost line is waited for and the step done again.

        Raises:
            RigError: something the person has to mend before the run can go on.
        """
        if self.code and (self.clamped or _takes(step, self.code)):
            self._read_label()
        if not isinstance(step, (Ask, Tell)):
            self._asked = (None, 0)
        while True:
            try:
                return self._ways[type(step)](index, step)
            except LinkLost as error:
                self._reconnect(error)

    def disarm(self) -> None:
        """Whatever happened: leave the interlock disarmed, if there is still a line."""
        with suppress(LinkError):  # without a line the board disarms itself
            self.link.command(Op.DISARM)

    def _reconnect(self, error: LinkLost) -> None:
        self.book.append(LINE, {"what": str(error)}, self.run_id)
        self.operator.tell(f"{error}. Waiting for it ...")
        self.link.exit()
        clock = self.link.clock
        end = clock.now() + RECONNECT_LIMIT_S
        while True:
            try:
                self.device.link = self.device.reopen()
                break
            except RigError:
                if clock.now() > end:
                    raise error from None
                clock.sleep(1.0)
        self.book.append(LINE, {"what": "connected again", "boot": self.link.boot}, self.run_id)
        self.operator.tell("Connected again.")

    # -- the ways

    def _tell(self, _: int, step: Tell) -> Commit:
        self.operator.tell(step.text)
        return dict

    def _do(self, _: int, step: Do) -> Commit:
        confirmed(step, self.device, self.operator, self.warned)
        return dict

    def _ask(self, _: int, step: Ask) -> Commit:
        asked = step
        while True:
            self._count(step)
            typed = self.typed(asked)
            try:
                told = understood(step, typed)
                break
            except RigError as error:
                asked = step
                if offer := offered(step, typed):
                    text = f"{step.text}. You typed no unit: {offer}? Enter takes it"
                    asked = replace(step, text=text, default=offer)
                else:
                    self.operator.tell(str(error))
        if step.kind in UNITS and (read := shown(step.kind, told)) != " ".join(typed.split()):
            self.operator.tell(f"  = {read}")  # a wrong unit shows, and `back` mends it
        return lambda: told

    def _count(self, step: Ask) -> None:
        """One more time that a question is asked, by this step or by the script.

        Raises:
            RigError: as often as no person answers in vain; it can be gone on with.
        """
        if self._asked[0] != step:
            self._asked = (step, 0)
        self._asked = (step, self._asked[1] + 1)
        if self._asked[1] > ASK_LIMIT:
            raise RigError(f"no usable answer in {ASK_LIMIT} tries to: {step.text}", remedy=RESUME)

    def _read_label(self) -> None:
        """The code as it stands on the blade, before anything is done to it: codes get swapped."""
        what = "The blade that is clamped" if self.clamped else f"Take blade {self.code} in hand"
        step, other = Ask(f"{what}: type the code on its label", key="label"), list[str]()
        while (said := self.typed(step).strip().upper()) != self.code.strip().upper():
            self._count(step)
            if said:
                other.append(said)
                self.operator.tell(
                    f"That is {said}, and this trial is of {self.code}: put {said} away, nothing "
                    f"was done to it here, and take {self.code}. (Measured {said} before? back "
                    "changes what you typed.)"
                )
        self.book.append(LABEL, {"code": self.code, "other": other}, self.run_id)
        self.code = ""

    def typed(self, step: Ask) -> str:
        """What is typed in answer to a question, whatever it means."""
        pending = self.operator.ask(step)
        typed: list[str] = []

        def came() -> bool:
            answer = pending()
            if answer is not None:
                typed.append(answer)
            return answer is not None

        self.device.until(came)
        return typed[0]

    def _ready(self, _: int, step: Ready) -> Commit:
        make_ready(self.device, self.operator, step.text)
        boot = self.link.boot
        return lambda: {"boot": boot}

    def _touch(self, _: int, step: Touch) -> Commit:
        confirmed(step, self.device, self.operator, self.warned)
        found = heights.touch(self.device, self.operator)
        return lambda: found

    def _raise(self, _: int, step: Raise) -> Commit:
        found = heights.raise_into(self.device, self.operator, step, self.warned)
        return lambda: found

    def _release(self, index: int, step: Release) -> Commit:
        return Releaser(self.book, self.run_id, self.device, self.operator).perform(index, step)

    def _read(self, _: int, step: Read) -> Commit:
        return self._reader().read(step)

    def _record(self, index: int, step: Record) -> Commit:
        return self._reader().record(index, step)

    def _reader(self) -> Reader:
        return Reader(self.book, self.run_id, self.device, self.operator, self.warned)

    def _strokes(self, index: int, step: Strokes) -> Commit:
        stroker = Stroker(self.book, self.run_id, self.device, self.operator, self.warned)
        return stroker.perform(index, step)

    def _tryout(self) -> Tryout:
        return Tryout(self.book, self.run_id, self.device, self.operator)

    def _measure(self, _: int, step: Measure) -> Commit:
        used = [] if step.raw_id is None else [step.raw_id]
        raw = b"" if step.raw_id is None else self.book.raw(step.raw_id)[0]
        result = kinds.compute(step.measurand, raw, step.settings)

        def store() -> Outcome:
            older = self._taken_back(step)
            number = self.book.store_result(
                self.run_id, step.trial, step.measurand, result, used, older
            )
            return {"result_id": number, **result}

        return store

    def _taken_back(self, step: Measure) -> int | None:
        """The result of the same that an answer corrected since has made void."""
        same = [
            result.result_id
            for result in self.book.results(self.run_id, step.trial)
            if result.measurand == step.measurand and result.superseded_by is None
        ]
        if not same:
            return None
        steps = self.book.journal(self.run_id, STEP)  # without those taken back
        in_force = {row.body["outcome"].get("result_id") for row in steps}
        return None if same[-1] in in_force else same[-1]

    def _recall(self, _: int, step: Recall) -> Commit:
        oldest = datetime.now(UTC) - timedelta(hours=step.hours)
        same = {r.run_id for r in self.book.runs() if r.versions["device"] == self.device.kind}
        rows = [
            row.body
            for row in self.book.journal(kind=step.kind)
            if row.at_utc >= oldest and row.run_id in same  # practice tells nothing of a real rig
        ]
        boot = self.link.boot
        return lambda: {"found": rows[::-1][: step.limit], "boot": boot}

    def _note(self, _: int, step: Note) -> Commit:
        def store() -> Outcome:
            return {"row": self.book.append(step.kind, dict(step.body), self.run_id)}

        return store


def _takes(step: Step, code: str) -> bool:
    """Whether a step takes that blade in hand."""
    return isinstance(step, Do) and str(step.detail.get("specimen", "")).upper() == code.upper()
