"""A contact that was confirmed too early is found again; it spoils no run and no drop."""

import io
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

import pytest

from rig import bench as benches
from rig.errors import RigError
from rig.guide.heights import AGAIN
from rig.guide.operator import ScriptedOperator
from rig.guide.recompute import recompute
from rig.guide.runner import Runner
from rig.guide.steps import Outcome
from rig.guide.terminal import TerminalOperator
from rig.guide.verdict import State
from rig.guide.verdict import verdicts as read_verdicts
from rig.logbook import Logbook
from tests.guide.rigs import ANSWERS, VirtualRig, impact, new_book
from tests.guide.test_resume import Cut, resumed

BLADE = "Drop 1:"  # the first text of the first blade's drop


class Speaker(ScriptedOperator):
    """Says the word when `due` says so, once."""

    def __init__(self, due: str) -> None:
        super().__init__(ANSWERS)
        self._due, self._said = due, False

    def typed(self, word: str) -> bool:
        """The word, the first time the newest text begins as wanted."""
        assert word == AGAIN
        texts = [text for text in self.log if not text.startswith(("Not armed", "Nothing was"))]
        if self._said or not texts[-1].startswith(self._due) or BLADE not in str(texts):
            return False
        self._said = True
        return True


def hasty(rig: VirtualRig, times: int) -> None:
    """Hands that confirm the blade's contact with the carriage still up, so many times."""
    hands = rig.device.hands
    assert hands is not None
    act, loaded, left = hands.act, False, times

    def early(hand: str, detail: Mapping[str, float | str]) -> float:
        nonlocal loaded, left
        loaded = loaded or hand == "load"
        if loaded and left and hand == "lower":
            left -= 1
            return act("lift", detail)
        if loaded and hand == "raise" and rig.tower.height_m > rig.tower.specimen.surface_m + 0.04:
            return act("lower", detail)  # seen that it is up, the person lowers it after all
        return act(hand, detail)

    hands.act = early  # type: ignore[method-assign]


def steps(book: Logbook, name: str) -> list[Outcome]:
    """Outcomes of all steps of a kind, in order."""
    rows = [row.body for row in book.journal(kind="step")]
    return [row["outcome"] for row in rows if row["step"]["step"] == name]


def start(book: Logbook, rig: VirtualRig, operator: ScriptedOperator | None = None) -> Outcome:
    """The impact procedure to its end."""
    runner = Runner(book, benches.load(None), rig.device, operator or rig.operator())
    return runner.start(*impact())[1]


def test_a_contact_confirmed_before_the_striker_rests_is_found_again(tmp_path: Path) -> None:
    rig = VirtualRig()
    hasty(rig, 1)
    with new_book(tmp_path) as book:
        told = start(book, rig)
        touched, raised = steps(book, "Touch"), steps(book, "Raise")
    assert [drop["valid"] for drop in told["drops"]] == [True]
    assert [r["why"] for r in raised[5:]] == ["READS_LOWER", ""]
    assert raised[5]["counts"] is None
    # 50 mm is where the lift leaves the carriage; 0.25 mm a count.
    assert touched[1]["counts"] - touched[2]["counts"] == pytest.approx(200, abs=4)


def test_a_contact_taken_back_by_the_person_is_found_again(tmp_path: Path) -> None:
    with new_book(tmp_path) as book:
        told = start(book, VirtualRig(), Speaker("Raise the carriage to"))
        raised = steps(book, "Raise")
    assert [r["why"] for r in raised[5:]] == ["SAID", ""]
    assert told["drops"][0]["valid"]


def test_a_contact_can_be_taken_back_while_the_release_is_refused(tmp_path: Path) -> None:
    rig = VirtualRig()
    with new_book(tmp_path) as book:
        told = start(book, rig, Speaker("K3 drop 1: wait"))
        released = steps(book, "Release")
    assert [(r["ended"], r["released"]) for r in released[5:]] == [
        ("SAID", False),
        ("REVERSED", True),
    ]
    assert told["drops"][0]["valid"] and len(rig.tower.truth) == 6, "it fell once for this blade"


def test_a_run_cut_off_after_a_contact_was_doubted_goes_on_with_the_new_one(
    tmp_path: Path,
) -> None:
    seen: list[str] = []

    def cut(rig: VirtualRig, text: str) -> None:
        seen.append(text)
        if text.startswith("K3 drop 1: wait"):
            raise Cut

    rig = VirtualRig(boot=7, hook=cut)
    hasty(rig, 1)
    with new_book(tmp_path) as book:
        with suppress(Cut):
            start(book, rig)
        before = [row.body for row in book.journal(kind="step")]
        path = book.path
    assert any(text.startswith("The height reads lower") for text in seen)
    told = resumed(path, VirtualRig(boot=8))
    with Logbook.open(path, writable=False) as book:
        after = [row.body for row in book.journal(kind="step")]
    assert after[: len(before)] == before
    assert told["drops"][0]["valid"]


def test_wires_that_were_swapped_back_let_the_run_go_on(tmp_path: Path) -> None:
    rig = VirtualRig(boot=1)
    rig.tower.fault("encoder_backwards")
    with new_book(tmp_path) as book:
        with pytest.raises(RigError, match="swap the encoder's wires A and B"):
            start(book, rig)
        assert [r["why"] for r in steps(book, "Raise")] == ["READS_LOWER"]
        path = book.path
    assert resumed(path, VirtualRig(boot=2))["drops"][0]["valid"]


def test_contact_confirmed_too_early_twice_can_still_be_mended(tmp_path: Path) -> None:
    rig = VirtualRig()
    hasty(rig, 2)
    with new_book(tmp_path) as book:
        with pytest.raises(RigError, match="reads lower"):
            start(book, rig)
        path = book.path
    told = resumed(path, rig)  # the same board, not restarted: the wrong contact still stands
    assert told["drops"][0]["valid"]


class Typed(io.StringIO):
    """Lines of a keyboard, or of a pipe."""

    def __init__(self, text: str, keyboard: bool) -> None:
        super().__init__(text)
        self._keyboard = keyboard

    def isatty(self) -> bool:
        """Whether a person types them."""
        return self._keyboard


def operator(text: str, keyboard: bool) -> TerminalOperator:
    """One whose reading thread has read everything."""
    made = TerminalOperator(Typed(text, keyboard))
    made.lines.reader.join()
    return made


def test_what_is_piped_in_stays_for_the_question_it_answers() -> None:
    made = operator("none\ncontact\n", keyboard=False)
    assert not made.typed("contact")
    assert made.next_line() == "none"
    assert made.typed("contact") and not made.typed("contact")


def test_a_person_may_type_the_word_after_idle_enters() -> None:
    made = operator("\n\n Contact \n", keyboard=True)
    assert made.typed("contact") and not made.typed("contact")


def test_a_carriage_that_falls_while_it_is_raised_is_told_and_its_site_does_not_count(
    tmp_path: Path,
) -> None:
    said = list[str]()
    rig = VirtualRig(hook=lambda _, text: said.append(text))
    hands = rig.device.hands
    assert hands is not None
    act, loaded, fell = hands.act, False, False

    def slips(hand: str, detail: Mapping[str, float | str]) -> float:
        nonlocal loaded, fell
        took = act(hand, detail)
        loaded = loaded or hand == "load"
        if hand == "raise" and loaded and not fell:
            fell = True  # hung askew: the hook lets it go at once
            rig.tower.schedule(rig.tower.now_s + took + 0.3, rig.tower._dynamics.free)
        return took

    hands.act = slips  # type: ignore[method-assign]
    with new_book(tmp_path) as book:
        operator = rig.operator({**ANSWERS, "fell": ["yes"]})
        with suppress(RigError):  # the site is used up: the run asks for another
            start(book, rig, operator)
        assert [r["why"] for r in steps(book, "Raise")][5:6] == ["FELL"]
        verdicts = [verdict for _, verdict in read_verdicts(book)]
    assert any(text.startswith("IT FELL, with nothing permitted") for text in said)
    assert verdicts[0].state is State.UNRECORDED
    assert any("fell while it was raised" in words for words in verdicts[0].words)


def test_a_hand_that_moves_it_up_and_down_is_not_taken_for_a_fall(tmp_path: Path) -> None:
    rig = VirtualRig()
    hasty(rig, 1)
    with new_book(tmp_path) as book:
        start(book, rig)
        assert "FELL" not in [r["why"] for r in steps(book, "Raise")]


@pytest.mark.parametrize(("said", "valid"), [("dented", True), ("moved", False)])
def test_a_contact_so_much_lower_is_a_dent_or_a_slip_by_who_looks(
    tmp_path: Path, said: str, valid: bool
) -> None:
    def lowers(rig: VirtualRig, text: str) -> None:
        if text.startswith(BLADE):
            rig.tower.fault("specimen_slip")  # 2 mm lower, whatever did it

    rig = VirtualRig(hook=lowers)
    with new_book(tmp_path) as book:
        told = start(book, rig, rig.operator({**ANSWERS, "lower": [said]}))
        asked = [row.body["step"] for row in book.journal(kind="step")
                 if row.body["step"].get("key") == "lower"]  # fmt: skip
        path = book.path
    assert asked and "mm lower than before" in asked[0]["text"]
    assert told["drops"][0]["valid"] == valid
    assert all(one.same for one in recompute(path))
