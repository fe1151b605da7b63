"""The person at the terminal: what is typed when, and what it answers."""

import io
import threading

import pytest
from rich.console import Console

from rig import bench as benches
from rig.errors import RigError
from rig.guide.steps import Ask, Do
from rig.guide.terminal import LINE, QUEUE, TerminalOperator
from rig.session.devices import virtual_device


class Keyboard(io.StringIO):
    """Where a person types."""

    def isatty(self) -> bool:
        """It is no pipe."""
        return True


class Silent(Keyboard):
    """A keyboard nobody touches."""

    def readline(self, _: int | None = -1) -> str:
        """It waits for ever."""
        threading.Event().wait()
        return ""


class Endless(io.StringIO):
    """A pipe that never ends; counts what was taken out of it."""

    def __init__(self, line: str, upto: int) -> None:
        super().__init__()
        self.line, self.upto, self.taken = line, upto, 0
        self.full = threading.Event()

    def readline(self, size: int | None = -1) -> str:
        """One line more, or a piece of one without end."""
        self.taken += 1
        if self.taken == self.upto:
            self.full.set()
        return self.line[:size]


class Screen(io.StringIO):
    """A screen on which the person answers the very moment a prompt is written."""

    answer = ""
    desk: TerminalOperator

    def write(self, text: str) -> int:
        """Show it, and answer a prompt."""
        if self.answer and ("Enter when" in text or "?" in text):
            typed(self.desk, self.answer)
            self.answer = ""
        return super().write(text)


def typed(operator: TerminalOperator, line: str) -> None:
    """A line as the reading thread hands it over."""
    operator.lines.put(line.rstrip("\n"))


def desk() -> tuple[TerminalOperator, Screen]:
    """A terminal at which nothing was typed yet."""
    screen = Screen()
    operator = TerminalOperator(Silent(), Console(file=screen))
    screen.desk = operator
    return operator, screen


def test_enter_at_the_very_moment_of_the_prompt_counts() -> None:
    operator, screen = desk()
    screen.answer = "\n"
    assert operator.confirm(Do("Close the guard."), [])()
    screen.answer = "none\n"
    assert operator.ask(Ask("Damage?", key="damage"))() == "none"


def test_what_was_typed_before_a_prompt_does_not_confirm_it() -> None:
    operator, _ = desk()
    typed(operator, "\n")
    assert not operator.confirm(Do("Close the guard."), ["Flying chips"])()


def test_when_the_input_ends_the_remedy_is_true_for_a_pipe() -> None:
    operator = TerminalOperator(io.StringIO(""))
    operator.lines.reader.join()
    with pytest.raises(RigError, match="with --resume"):
        operator.next_line()


def test_an_endless_pipe_waits_until_its_lines_are_used_and_loses_none() -> None:
    pipe = Endless("\n", QUEUE + 1)
    operator = TerminalOperator(pipe)
    assert pipe.full.wait(10)
    assert (pipe.taken, len(operator.lines)) == (QUEUE + 1, QUEUE)  # one in hand, the rest wait
    pipe.upto, pipe.full = QUEUE + 2, threading.Event()
    assert operator.next_line() == ""
    assert pipe.full.wait(10)
    assert pipe.taken == QUEUE + 2


def test_what_a_person_types_far_ahead_does_not_confirm_a_later_prompt() -> None:
    operator, _ = desk()
    for _ in range(3 * QUEUE):
        typed(operator, "\n")
    assert len(operator.lines) == QUEUE
    assert not operator.confirm(Do("Close the guard."), [])()


def test_brackets_in_a_name_are_shown_as_they_were_typed() -> None:
    operator, screen = desk()
    operator.tell("Blade [/red] of [bold]batch[/bold]:smile:")
    assert screen.getvalue() == "Blade [/red] of [bold]batch[/bold]:smile:\n"


def test_of_a_line_without_end_only_its_beginning_is_kept() -> None:
    operator = TerminalOperator(io.StringIO("7" * 10 * LINE + "\n8\n"))
    operator.lines.reader.join()
    assert [operator.next_line(), operator.next_line()] == ["7" * LINE, "8"]


def test_the_virtual_rig_of_a_bench_is_the_same_at_every_start_and_its_board_is_not() -> None:
    bench = benches.load(None)
    (one, first, _), (two, again, _) = (virtual_device(bench, None) for _ in range(2))
    assert first.nature == again.nature
    assert one.link.boot != two.link.boot
    other = bench.model_copy(update={"name": "another bench"})
    assert virtual_device(other, None)[1].nature != first.nature
