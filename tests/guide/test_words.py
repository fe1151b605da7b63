"""What can be typed at every prompt, and what it does."""

import pytest

from rig.guide.hazards import LINES, SHORT, Warned
from rig.guide.steps import Ask, Do
from rig.guide.words import SaidBack, SaidStop
from tests.guide.test_terminal import desk, typed


@pytest.mark.parametrize("word", ["no", "ok", "q", "yes please", "none", "donee"])
def test_only_enter_and_done_are_done(word: str) -> None:
    operator, screen = desk()
    confirmed = operator.confirm(Do("Pin in."), [])
    typed(operator, word)
    assert not confirmed()
    assert f"'{word}' does nothing here. Enter when done" in screen.getvalue()
    typed(operator, "Done")
    assert confirmed()


def test_stop_stops_and_back_goes_back_at_an_instruction_and_at_a_question() -> None:
    operator, _ = desk()
    for word, what in (("stop", SaidStop), ("BACK", SaidBack)):
        for asked in (operator.confirm(Do("Pin in."), []), operator.ask(Ask("Which?", key="w"))):
            typed(operator, word)
            with pytest.raises(what):
                asked()


def test_a_word_that_a_question_offers_is_its_answer() -> None:
    operator, _ = desk()
    asked = operator.ask(Ask("Again?", key="again", kind="choice", choices=("again", "stop")))
    typed(operator, "stop")
    assert asked() == "stop"


@pytest.mark.parametrize("word", ["help", "?"])
def test_help_says_what_is_to_be_done_with_its_hazards_whole(word: str) -> None:
    operator, screen = desk()
    confirmed = operator.confirm(Do("Pin in.", hazards=("chips",)), ["Eye protection on."])
    typed(operator, word)
    assert not confirmed()
    text = " ".join(screen.getvalue().split())
    assert LINES["chips"] in text and "Now: Pin in." in text


def test_the_hazards_stand_above_what_is_to_be_done_under_them() -> None:
    operator, screen = desk()
    operator.confirm(Do("Hands out. Pin out."), [LINES["falling_mass"]])
    text = screen.getvalue()
    assert text.index("put the pin in") < text.index("Pin out."), "not after the pin is out"
    assert "Enter when understood and done" in text


def test_a_hazard_is_told_whole_once_and_then_in_a_few_words() -> None:
    warned = Warned()
    assert warned.lines(("chips", "edge")) == [LINES["chips"], LINES["edge"]]
    (short,) = warned.lines(("edge", "chips"))
    assert SHORT["edge"] in short.lower() and SHORT["chips"] in short.lower()
    assert warned.lines(("pinch", "edge"))[0] == LINES["pinch"]
    assert {key.removesuffix(":out") for key in SHORT} == set(LINES) and all(
        len(SHORT[key]) < len(LINES[key]) / 2 for key in LINES
    )


def test_the_moment_to_act_comes_with_a_sound() -> None:
    operator, screen = desk()
    rung: list[bool] = []
    operator._console.bell = lambda: rung.append(True)  # type: ignore[method-assign]
    operator.call("PULL NOW: to the right.")
    assert rung and ">> PULL NOW: to the right." in screen.getvalue()
