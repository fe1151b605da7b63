"""One run, and from chosen instants of it many others in which something goes wrong just then.

The run itself goes on undisturbed. At an instant it forks: the child has the same board, hands and
script in the same state, a copy of the logbook, and a fault; it goes on, resumed as a person would,
to its end or (`briefly`) until the step that was hit is done, and is then given up; it tells what
came of it. So a fault at any instant of a long run costs only what comes after it.
"""

import json
import os
import shutil
import traceback
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from rig.errors import RigError
from rig.guide.device import Device
from rig.guide.recompute import recompute
from rig.guide.runner import Runner
from rig.guide.script import Script
from rig.logbook import Logbook, connect
from rig.logbook.audit import audit
from rig.logbook.journal import STEP

MENDED_AFTER_S = 2.0
LIVES = 6  # of one run: resumed that often at most
GONE_ON = 1  # steps done after the fault: the one that was hit, measured or closed
LOOKED_EVERY = 25  # sleeps
Fault = tuple[Callable[[Any], None], Callable[[Any], None] | None]


def _stand_in(name: str) -> Fault:
    mended = None if name in ("reset", "hang") else lambda board: board.fault(name, 0)
    return lambda board: board.fault(name), mended


STAND_IN: Mapping[str, Fault] = {
    name: _stand_in(name) for name in ("reset", "hang", "unplugged", "silent")
}
EMULATED: Mapping[str, Fault] = {
    "reset": (lambda board: board.reset(), None),
    "hang": (lambda board: board.hang(), None),
    "unplugged": (lambda board: board.unplug(), lambda board: board.plug()),
    "silent": (lambda board: board.silence(True), lambda board: board.silence(False)),
}
"""How to bring each about, and how it is mended after a while (None: it mends itself)."""


@dataclass
class Came:
    """What came of a fault at one instant.

    Attributes:
        at_s: plant time since the run began.
        broke: a traceback that a person would have seen, "" without one.
        ended: "finished", "abandoned" or "open".
        findings: what the audit found.
        stops: errors told to the person, in order.
        valid: trials that the procedure took as valid.
        further: steps done after the fault.
    """

    at_s: float
    fault: str
    broke: str = ""
    ended: str = "open"
    findings: list[str] = field(default_factory=list)
    stops: list[str] = field(default_factory=list)
    valid: int = 0
    further: int = 0

    @property
    def good(self) -> bool:
        """No traceback, the run gone on with or at its end, the logbook sound."""
        went_on = self.ended == "finished" or self.further >= GONE_ON
        return not self.broke and went_on and self.ended != "open" and not self.findings


@dataclass
class Forking:
    """A clock that forks at the chosen instants.

    Attributes:
        board: whose `clock` this is in the place of.
        faults: by name.
        chosen: told the seconds since the run began while something is being recorded; gives the
            names of the faults to bring about now.
        at_once: so many children run beside each other.
        briefly: a child is stopped and given up when the step that was hit is done.
    """

    board: Any
    faults: Mapping[str, Fault]
    chosen: Callable[[float], Iterator[str]]
    folder: Path
    briefly: bool = False
    at_once: int = 1
    to: Path | None = None  # in a child: where it tells
    device: Device | None = None
    book: Logbook | None = None
    came: Came | None = None  # in a child: what comes of it
    told: list[Came] = field(default_factory=list)
    _mend: tuple[float, Callable[[Any], None]] | None = None
    _steps: int = 0  # done before the fault
    _slept: int = 0
    _out: dict[int, tuple[float, Path]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._inner = self.board.clock
        self._began = self._inner.now()

    def now(self) -> float:
        """Of the clock it stands for."""
        return float(self._inner.now())

    def sleep(self, seconds: float) -> None:
        """Let time pass; a child that is forked here comes back from this call too."""
        self._inner.sleep(seconds)
        if self.came is not None:
            if self._mend is not None and self.now() >= self._mend[0]:
                mend, self._mend = self._mend[1], None
                mend(self.board)
            self._slept += 1
            if self.briefly and self._slept % LOOKED_EVERY == 0 and self.further() >= GONE_ON:
                raise KeyboardInterrupt
            return
        if self.device is None or self.device.link._record is None:
            return
        for name in self.chosen(self.now() - self._began):
            if self._fork(name):
                return

    def further(self) -> int:
        """Steps done since the fault."""
        assert self.book is not None
        return sum(1 for _ in self.book.journal(kind=STEP)) - self._steps

    def _fork(self, name: str) -> bool:
        """True in the child."""
        assert self.book is not None
        while len(self._out) >= self.at_once:
            self.reap()
        at_s, number = self.now() - self._began, len(self.told) + len(self._out)
        to, copy = self.folder / f"came-{number}.json", self.folder / f"child-{number}.logbook"
        _copied(self.book, copy)
        child = os.fork()
        if child:
            self._out[child] = (at_s, to)
            return False
        self.came, self.to = Came(at_s, name), to
        _taken_over(self.book, copy)
        self._steps = sum(1 for _ in self.book.journal(kind=STEP))
        bring, mend = self.faults[name]
        self._mend = None if mend is None else (self.now() + MENDED_AFTER_S, mend)
        bring(self.board)
        return True

    def reap(self) -> None:
        """Wait for one child and take what it tells."""
        child, status = os.wait()
        at_s, to = self._out.pop(child)
        assert status == 0, f"the child at {at_s:.3f} s died: {status}"
        self.told.append(Came(**json.loads(to.read_text())))

    def all_told(self) -> list[Came]:
        """What came of every fault, in the order of time."""
        while self._out:
            self.reap()
        return sorted(self.told, key=lambda one: one.at_s)


_kept: list[Any] = []  # the parent's connection must not be closed by a child


def _copied(book: Logbook, path: Path) -> None:
    """A second file in the state of the first, while nothing is being written."""
    file = book._session.file
    for end in ("", "-wal"):
        if Path(f"{file}{end}").exists():
            shutil.copy(f"{file}{end}", f"{path}{end}")


def _taken_over(book: Logbook, path: Path) -> None:
    """In a child: the copy in the place of the parent's file.

    SQLite forbids to carry a connection across a fork; that one is not used any more.
    """
    session = book._session
    _kept.append(session.connection)
    session.connection = connect.writer(path)
    connect.write_ahead(session.connection)
    session.file = path


def sweep(
    clock: Forking, device: Device, runner: Runner, script: Script, params: Mapping[str, Any]
) -> list[Came]:
    """Run the script once to its end, with a child for each chosen instant and fault."""
    clock.device, clock.book = device, runner.book
    clock.board.clock = device.link.clock = clock
    error: BaseException | None = None
    try:
        _, told = runner.start(script, params)
    except BaseException as raised:
        told, error = {}, raised
    if clock.came is None:
        if error is not None:
            raise error
        return clock.all_told()
    try:
        _conclude(clock, runner, script, told, error)
        assert clock.to is not None
        clock.to.write_text(json.dumps(asdict(clock.came)))
    except BaseException:
        traceback.print_exc()
        os._exit(1)
    os._exit(0)


def _plugged_in(device: Device) -> None:
    """A program that starts anew opens the port anew; until that goes, a person waits."""
    device.link.exit()
    while True:
        try:
            device.link = device.reopen()
            return
        except RigError:
            device.link.clock.sleep(1.0)


def _conclude(
    clock: Forking, runner: Runner, script: Script, told: Mapping[str, Any],
    error: BaseException | None,
) -> None:  # fmt: skip
    """Resume as a person would, then look at what is kept."""
    came = clock.came
    assert came is not None
    for _ in range(LIVES):
        if error is None:
            break
        if isinstance(error, KeyboardInterrupt) and clock.briefly:
            run_id = runner.book.unfinished_runs()[-1].run_id
            runner.book.end_run(run_id, "abandoned", "seen enough")
            break
        if not isinstance(error, RigError):
            came.broke = "".join(traceback.format_exception(error))
            break
        came.stops.append(str(error))
        unfinished = runner.book.unfinished_runs()
        if not unfinished:
            break
        try:
            _plugged_in(runner.device)
            told, error = runner.resume(unfinished[-1].run_id, script), None
        except BaseException as raised:
            error = raised
    came.further = clock.further()
    came.ended = runner.book.runs()[-1].outcome or "open"
    trials = told.get("drops", told.get("trials", [told] if "valid" in told else []))
    came.valid = sum(bool(trial.get("valid")) for trial in trials)
    path = runner.book.path
    runner.book.close()
    came.findings = [f"{f.place}: {f.what}" for f in audit(path)]
    came.findings += [f"recomputes differently: {c.trial}" for c in recompute(path) if not c.same]
    for end in ("", "-wal", "-shm"):
        Path(f"{path}{end}").unlink(missing_ok=True)
