"""Who answers the guide: a person at the terminal, or a script."""

from collections.abc import Callable, Mapping, Sequence
from typing import Protocol

from rig.errors import RigError
from rig.guide.steps import Ask, Do

RESUME = "go on with the same command and --resume"
GO_ON = f"then {RESUME}"
"""How every error ends after which the run can go on."""


class Operator(Protocol):
    """One person's side of the guide.

    `ready` callables let the runner serve the line while the person thinks.
    """

    def tell(self, text: str) -> None:
        """Show something to read."""

    def live(self, text: str) -> None:
        """Show a reading that changes; the next one takes its place."""

    def typed(self, word: str) -> bool:
        """Whether the person typed this word, unasked. Told once."""

    def call(self, text: str) -> None:
        """The moment to act: shown, with a sound."""

    def confirm(self, step: Do, hazards: Sequence[str], ready: str = "") -> Callable[[], bool]:
        """Show an action under its hazards; the result tells when it was confirmed.

        `ready`: what Enter says then; left out, that it is done. What `confirm` and `ask` give
        raises what `rig.guide.words` raises.
        """

    def ask(self, step: Ask) -> Callable[[], str | None]:
        """Show a question; the result gives the answer once there is one."""


class ScriptedOperator:
    """Answers from a table: for tests, the demo, and practice without a keyboard.

    Args:
        answers: for each key of an Ask its answers in order (the last one is used again).
        watch: called with every step's text, in order.
    """

    def __init__(
        self, answers: Mapping[str, Sequence[str]], watch: Callable[[str], None] | None = None
    ) -> None:
        self._answers = {key: list(values) for key, values in answers.items()}
        self._watch = watch
        self.log: list[str] = []

    def tell(self, text: str) -> None:
        """Keep it."""
        self.log.append(text)
        if self._watch:
            self._watch(text)

    def live(self, text: str) -> None:
        """A script does not look."""

    def typed(self, word: str) -> bool:
        """A script says only what it is asked."""
        return False

    def call(self, text: str) -> None:
        """A script is always ready."""
        self.tell(text)

    def confirm(self, step: Do, hazards: Sequence[str], ready: str = "") -> Callable[[], bool]:
        """Done at once."""
        self.log.extend(hazards)
        self.tell(step.text)
        return lambda: True

    def ask(self, step: Ask) -> Callable[[], str | None]:
        """The next answer in the table, else the step's default."""
        self.tell(step.text)
        waiting = self._answers.get(step.key, [])
        if not waiting and not step.default:
            raise RigError(f"the script has no answer for '{step.key}'", remedy="add one")
        answer = step.default if not waiting else waiting[0]
        if len(waiting) > 1:
            waiting.pop(0)
        return lambda: answer
