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
from rig.guide.steps import Ask, Do


class TerminalOperator:
    """Reads lines in a thread of its own so that the line to the board is served meanwhile."""

    def __init__(self, source: IO[str] | None = None, console: Console | None = None) -> None:
        self._source = source or sys.stdin
        self._console = console or Console(highlight=False)
        self._lines: deque[str | None] = deque()  # None: the input has ended
        self._live: Live | None = None
        self.reader = threading.Thread(target=self._read, daemon=True)
        self.reader.start()

    def _read(self) -> None:
        for line in self._source:
            self._lines.append(line.rstrip("\n"))
        self._lines.append(None)

    def next_line(self) -> str | None:
        """A line if one was typed, else None.

        Raises:
            RigError: the keyboard is gone.
        """
        if not self._lines:
            return None
        line = self._lines[0]
        if line is None:
            raise RigError(
                "the input ended before the run did",
                remedy="the same command with --resume goes on where it stopped",
            )
        self._lines.popleft()
        return line

    def _fresh(self) -> None:
        """Forget what was typed so far: what comes once the question is shown answers it."""
        while self._source.isatty() and self._lines and self._lines[0] is not None:
            self._lines.popleft()

    def _settle(self) -> None:
        if self._live is not None:
            self._live.stop()
            self._live = None

    def tell(self, text: str) -> None:
        """Print it."""
        self._settle()
        self._console.print(text)

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
        while self._lines and (line := self._lines[0]) is not None:
            said = line.strip().lower() == word
            if not said and not self._source.isatty():
                return False
            self._lines.popleft()
            if said:
                return True
        return False

    def confirm(self, step: Do, hazards: Sequence[str]) -> Callable[[], bool]:
        """Instruction, then the hazards of just this action, then Enter."""
        self._fresh()
        self._settle()
        self._console.print(Text(f"\n> {step.text}", style="bold"))
        for hazard in hazards:
            self._console.print(Text(f"  ! {hazard}", style="yellow"))
        ready = "understood and done" if hazards else "done"
        self._console.print(f"  Enter when {ready} (Ctrl-C stops safely)")
        return lambda: self.next_line() is not None

    def ask(self, step: Ask) -> Callable[[], str | None]:
        """Question with its choices and its default."""
        self._fresh()
        self._settle()
        choices = f" ({' / '.join(step.choices)})" if step.choices else ""
        default = f" [{step.default}]" if step.default else ""
        self._console.print(Text(f"\n? {step.text}{choices}{default}", style="bold"))

        def answer() -> str | None:
            line = self.next_line()
            return line if line is None or line.strip() else step.default or ""

        return answer
