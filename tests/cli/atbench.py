"""Somebody at the virtual bench who answers by what is asked, whatever the order of questions."""

import re
from collections.abc import Callable
from dataclasses import dataclass, field

import pytest

from rig.guide.steps import Ask
from rig.session.virtual_eye import Practising


@dataclass
class AtTheBench:
    """Answers by a question's key; each question counts its prompts and words.

    Attributes:
        answers: key -> what is typed; Enter where there is none.
        prompts: questions answered and steps confirmed.
        words: of all texts shown.
    """

    code = ""  # on the label of the blade in hand; "" it is the right one
    answers: dict[str, str | Callable[[], str]] = field(default_factory=dict)
    prompts: int = 0
    words: int = 0

    def sits(self, patch: pytest.MonkeyPatch) -> "AtTheBench":
        """Take the place of the terminal's person."""

        def ask(operator: Practising, step: Ask) -> Callable[[], str | None]:
            self._count(step.text)
            if step.key == "label" and "label" not in self.answers:
                code = self.code or re.findall(r"blade (\S+) in hand", step.text)[0]
                return lambda: code
            seen = None if operator.look is None else operator.look(step)
            given = self.answers.get(step.key, seen if seen is not None else step.default or "")
            text = given() if callable(given) else given
            return lambda: text

        def confirm(
            operator: Practising, step: object, hazards: object, *_: object
        ) -> Callable[[], bool]:
            self._count(" ".join([str(getattr(step, "text", "")), *map(str, hazards)]))  # type: ignore[call-overload]
            return lambda: True

        tell = Practising.tell

        def telling(operator: Practising, text: str) -> None:
            self.words += len(text.split())
            tell(operator, text)

        patch.setattr(Practising, "ask", ask)
        patch.setattr(Practising, "confirm", confirm)
        patch.setattr(Practising, "tell", telling)
        return self

    def _count(self, text: str) -> None:
        self.prompts += 1
        self.words += len(text.split())
