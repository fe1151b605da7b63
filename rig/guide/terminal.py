"""The person at a terminal: one instruction at a time, live readings, Enter to confirm."""

import sys
import threading
from collections import deque
from collections.abc import Callable, Sequence
from typing import IO

from rich.console import Console
from rich.live import Live
from rich.text import Text

from rig.errors import RigError
from rig.guide.hazards import whole
from rig.guide.steps import Ask, Do
from rig.guide.words import DONE, HOW, STOP, SaidStop, command

QUEUE = 1000  # lines that wait; a pipe that gives more is read on as they are used up
LINE = 4096  # characters of one line; nobody types more


class Typed:
    """Lines typed or piped in, in order, read by a thread of its own.

    A pipe waits when `QUEUE` lines do, so that an endless one cannot fill the memory; what a
    person types beyond that is not kept.
    """

    def __init__(self, source: IO[str]) -> None:
        self._source = source
        self.live = source.isatty()
        self._lines: deque[str | None] = deque()  # None: the input has ended
        self._room = threading.Semaphore(QUEUE)
        self.reader = threading.Thread(target=self._read, daemon=True)
        self.reader.start()

    def __len__(self) -> int:
        return len(self._lines)

    def _read(self) -> None:
        try:
            while line := self._source.readline(LINE):
                if not line.endswith("\n"):
                    self._skip_the_rest()
                self.put(line.rstrip("\n"))
        except (OSError, ValueError):  # hung up, a folder, or closed under us
            pass
        self._lines.append(None)

    def _skip_the_rest(self) -> None:
        """Of a line longer than any answer."""
        while more := self._source.readline(LINE):
            if more.endswith("\n"):
                return

    def put(self, line: str) -> None:
        """One line more, as the reader hands it over."""
        if self._room.acquire(blocking=not self.live):
            self._lines.append(line)

    def first(self) -> str | None:
        """The oldest line, left where it is; None when there is none."""
        return self._lines[0] if self._lines else None

    def ended(self) -> bool:
        """Whether nothing is left and nothing will come."""
        return bool(self._lines) and self._lines[0] is None

    def take(self) -> str | None:
        """The oldest line; None when there is none."""
        line = self.first()
        if line is not None:
            self._lines.popleft()
            self._room.release()
        return line

    def forget(self) -> None:
        """Drop all that was typed so far."""
        while self.take() is not None:
            pass


def _input() -> IO[str]:
    """What is typed or piped in, through a buffer of the reading thread's own.

    The interpreter closes `sys.stdin` at its end, and would die of it while a thread waits there.
    """
    if sys.stdin is not sys.__stdin__ or sys.stdin is None:
        return sys.stdin
    # An odd byte is an odd answer, not the end.
    return open(sys.stdin.fileno(), encoding=sys.stdin.encoding, errors="replace", closefd=False)


class TerminalOperator:
    """Reads lines in a thread of its own so that the line to the board is served meanwhile."""

    def __init__(self, source: IO[str] | None = None, console: Console | None = None) -> None:
        self._console = console or Console(highlight=False)
        self.lines = Typed(source or _input())
        self._live: Live | None = None
        self._told_how = False

    def next_line(self) -> str | None:
        """A line if one was typed, else None.

        Raises:
            RigError: the keyboard is gone.
        """
        if self.lines.ended():
            raise RigError(
                "the input ended before the run did",
                remedy="the same command with --resume goes on where it stopped",
            )
        return self.lines.take()

    def _fresh(self) -> None:
        """Forget what was typed so far: what comes once the question is shown answers it."""
        if self.lines.live:
            self.lines.forget()

    def _settle(self) -> None:
        if self._live is not None:
            self._live.stop()
            self._live = None

    def tell(self, text: str) -> None:
        """Print it."""
        self._settle()
        self._console.print(Text(text))  # brackets in a name are no mark-up

    def live(self, text: str) -> None:
        """One line that keeps changing (nothing when the output is not a screen)."""
        if not self._console.is_terminal:
            return
        if self._live is None:
            self._live = Live(console=self._console, refresh_per_second=10, transient=True)
            self._live.start()
        self._live.update(Text(text))

    def typed(self, word: str) -> bool:
        """Whether this word was typed; from a pipe, only if it is the next line.

        What is piped in answers later questions: it stays where it is.
        """
        while (line := self.lines.first()) is not None:
            said = line.strip().lower() == word
            if not said and not self.lines.live:
                return False
            self.lines.take()
            if said:
                return True
            if line.strip().lower() == STOP:
                raise SaidStop
        return False

    def call(self, text: str) -> None:
        """Print it, and ring the bell: the eyes may be at the rig."""
        self._settle()
        self._console.bell()
        self._console.print(Text(f"\n>> {text}", style="bold green"))

    def confirm(self, step: Do, hazards: Sequence[str], ready: str = "") -> Callable[[], bool]:
        """The hazards of just this action, the instruction, then Enter."""
        self._fresh()
        self._settle()
        self._console.print()
        for hazard in hazards:
            self._console.print(Text(f"! {hazard}", style="yellow"))
        self._console.print(Text(f"> {step.text}", style="bold"))
        wanted = ready or ("understood and done" if hazards else "done")
        self._console.print(f"  Enter when {wanted}")
        self._say_how()

        def confirmed() -> bool:
            line = self.next_line()
            if line is None or self._helped(line, step.text, step.hazards):
                return False
            if line.strip().lower() in DONE:
                return True
            self.tell(
                f"'{line.strip()}' does nothing here. Enter when {wanted}; or stop, back, help."
            )
            return False

        return confirmed

    def ask(self, step: Ask) -> Callable[[], str | None]:
        """Question with its choices and its default."""
        self._fresh()
        self._settle()
        choices = f" ({' / '.join(step.choices)})" if step.choices else ""
        default = f" [{step.default}]" if step.default else ""
        self._console.print(Text(f"\n? {step.text}{choices}{default}", style="bold"))
        self._say_how()

        def answer() -> str | None:
            line = self.next_line()
            said = "" if line is None else line.strip()
            if line is None or (said not in step.choices and self._helped(line, step.text)):
                return None
            return line if said else step.default or ""

        return answer

    def _say_how(self) -> None:
        """Once, at the first prompt."""
        if not self._told_how:
            self._console.print(f"  ({HOW} Ctrl-C is safe too.)")
            self._told_how = True

    def _helped(self, line: str, text: str, keys: Sequence[str] = ()) -> bool:
        """Whether a line asked for help; then it was given.

        Raises:
            SaidStop, SaidBack: it said something else that is understood at every prompt.
        """
        if not command(line):
            return False
        for key in keys:
            self.tell(f"! {whole(key)}")
        self.tell(f"Now: {text}\n{HOW}")
        return True
