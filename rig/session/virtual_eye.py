"""What an eye sees at the virtual rig, for the questions that ask for a look."""

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from rig.guide.steps import Ask
from rig.guide.terminal import TerminalOperator

if TYPE_CHECKING:
    from rig.virtual.person import Person

Look = Callable[[Ask], str | None]


def looks(person: "Person", procedure: str) -> Look:
    """What the eye answers in a procedure; None where a question asks for no look."""

    def look(step: Ask) -> str | None:
        if procedure == "pry_to_failure":
            return person.tip()["tip"] if step.key in ("tip", "tip_again") else None
        if procedure in ("cuts_to_dull", "sharpness"):
            found: str | None = person.sharpness().get(step.key)
            return found
        seen = person.edge_after_twist if procedure == "edge_twist" else person.damage
        return seen().get(step.key) if step.key in ("damage", "depth", "width") else None

    return look


class Practising(TerminalOperator):
    """The terminal of somebody who practises: Enter answers what the virtual rig shows."""

    look: Look | None = None

    def call(self, text: str) -> None:
        """The moment to act; who practises has nothing to do then but to look on."""
        by = "" if self.look is None else " (Practice: the virtual hands do it. Nothing to press.)"
        super().call(f"{text}{by}")

    def ask(self, step: Ask) -> Callable[[], str | None]:
        """The question, what is seen in place of its default."""
        seen = None if self.look is None else self.look(step)
        return super().ask(step if seen is None else replace(step, default=seen))
