"""The person at the terminal: what is typed when, and what it answers."""

import io

import pytest
from rich.console import Console

from rig import bench as benches
from rig.cli.devices import virtual_device
from rig.errors import RigError
from rig.guide.steps import Ask, Do
from rig.guide.terminal import TerminalOperator


class Keyboard(io.StringIO):
    """Where a person types."""

    def isatty(self) -> bool:
        """It is no pipe."""
        return True


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
    operator._lines.append(line.rstrip("\n"))


def desk() -> tuple[TerminalOperator, Screen]:
    """A terminal at which nothing was typed yet."""
    screen = Screen()
    operator = TerminalOperator(Keyboard(), Console(file=screen))
    operator.reader.join()
    operator._lines.clear()
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
    operator.reader.join()
    with pytest.raises(RigError, match="with --resume"):
        operator.next_line()


def test_the_virtual_rig_of_a_bench_is_the_same_at_every_start_and_its_board_is_not() -> None:
    bench = benches.load(None)
    (one, first, _), (two, again, _) = (virtual_device(bench, None) for _ in range(2))
    assert first.nature == again.nature
    assert one.link.boot != two.link.boot
    other = bench.model_copy(update={"name": "another bench"})
    assert virtual_device(other, None)[1].nature != first.nature
