"""Power cuts, kills and lost lines: nothing acknowledged is lost, and the run goes on."""

from pathlib import Path

import pytest

from rig import bench as benches
from rig.board.wire import Reason, State
from rig.guide.reasons import TEXT
from rig.guide.runner import INTERRUPTED, Runner, ScriptChanged
from rig.guide.steps import Outcome
from rig.logbook import Logbook
from rig.logbook.audit import audit
from tests.guide.rigs import VirtualRig, cable_pulled_once, impact, new_book, run


class Cut(BaseException):
    """The power goes."""


def cut_at(text_start: str) -> VirtualRig:
    """A rig on which the program is cut off when a text is shown that begins so."""

    def hook(rig: VirtualRig, text: str) -> None:
        if text.startswith(text_start):
            raise Cut

    return VirtualRig(boot=1, hook=hook)


def resumed(path: Path, rig: VirtualRig) -> Outcome:
    """Go on with the only unfinished run."""
    script, _ = impact()
    with Logbook.open(path, writable=True) as book:
        (unfinished,) = book.unfinished_runs()
        return Runner(book, benches.load(None), rig.device, rig.operator()).resume(
            unfinished.run_id, script
        )


@pytest.mark.parametrize(
    "text", ["5 empty drops", "empty drop 3", "Drop 1:", "K3 drop 1: wait", "Damage at", "Wait unt"]
)
def test_a_run_cut_off_anywhere_goes_on_exactly_there(tmp_path: Path, text: str) -> None:
    with new_book(tmp_path) as book:
        with pytest.raises(Cut):
            run(book, cut_at(text), *impact())
        path = book.path
        before = [row.body["index"] for row in book.journal(kind="step")]
    told = resumed(path, VirtualRig(boot=2))
    assert told["drops"][-1]["valid"]
    with Logbook.open(path, writable=False) as book:
        after = [row.body["index"] for row in book.journal(kind="step")]
        assert after[: len(before)] == before, "nothing was done twice"
        assert after == list(range(len(after))), "nothing was left out"
        assert not book.unfinished_runs()
    assert audit(path) == []


def test_contact_is_found_again_when_the_board_was_restarted_meanwhile(tmp_path: Path) -> None:
    with new_book(tmp_path) as book:
        with pytest.raises(Cut):
            run(book, cut_at("K3 drop 1: wait"), *impact())
        path = book.path
        touches = sum(r.body["step"]["step"] == "Touch" for r in book.journal(kind="step"))
    told = resumed(path, VirtualRig(boot=2))
    with Logbook.open(path, writable=False) as book:
        again = sum(r.body["step"]["step"] == "Touch" for r in book.journal(kind="step"))
    assert told["drops"][0]["valid"]
    assert (touches, again) == (2, 4), "contact before, once more, and after the drop"


def test_a_program_that_died_after_the_permit_never_makes_a_number_of_that_drop(
    tmp_path: Path,
) -> None:
    rig = VirtualRig(boot=1)
    permitted: list[int] = []

    def press(hand: str, detail: object) -> float:
        if hand == "press":
            permitted.append(1)
            if len(permitted) == 6:  # five empty drops, then the blade's
                raise Cut
        return act(hand, detail)  # type: ignore[arg-type]

    assert rig.device.hands is not None
    act = rig.device.hands.act
    rig.device.hands.act = press  # type: ignore[method-assign]
    with new_book(tmp_path) as book:
        with pytest.raises(Cut):
            run(book, rig, *impact())
        path = book.path
    told = resumed(path, VirtualRig(boot=2))
    first, *later = told["drops"]
    assert first["energy_j"] is None and not first["valid"]
    assert "not recorded" in first["reasons"][0]
    assert later[-1]["valid"]


def test_the_interlock_is_disarmed_and_the_stop_journaled_on_ctrl_c(tmp_path: Path) -> None:
    rig = VirtualRig()
    assert rig.device.hands is not None
    act = rig.device.hands.act

    def stop(hand: str, detail: object) -> float:
        if hand == "press":
            raise KeyboardInterrupt
        return act(hand, detail)  # type: ignore[arg-type]

    rig.device.hands.act = stop  # type: ignore[method-assign]
    with new_book(tmp_path) as book:
        with pytest.raises(KeyboardInterrupt):
            run(book, rig, *impact())
        (row,) = book.journal(kind=INTERRUPTED)
    rig.device.link.wait(0.3)
    assert row.body["why"] == "stopped from the keyboard"
    assert rig.device.link.status["state"] == State.HELD
    assert rig.device.link.status["reason"] == Reason.HOST_DISARM


def test_a_cable_pulled_and_put_back_lets_the_run_go_on(tmp_path: Path) -> None:
    rig = VirtualRig(hook=cable_pulled_once())
    with new_book(tmp_path) as book:
        _, told = run(book, rig, *impact())
        lines = [row.body["what"] for row in book.journal(kind="line")]
    assert told["drops"][-1]["valid"]
    assert "unplugged" in lines[0] and lines[1] == "connected again"


def test_a_board_reset_in_flight_makes_that_drop_invalid(tmp_path: Path) -> None:
    def reset_in_flight(rig: VirtualRig, text: str) -> None:
        if text.startswith("K3 drop 1: wait"):
            began = rig.tower.now_s

            def watch() -> None:
                if rig.tower.truth[-1].release_s > began:
                    rig.board.fault("reset")
                else:
                    rig.tower.schedule(rig.tower.now_s + 0.005, watch)

            watch()

    rig = VirtualRig(hook=reset_in_flight)
    with new_book(tmp_path) as book:
        _, told = run(book, rig, *impact())
    first, *later = told["drops"]
    assert not first["valid"]
    assert later and later[-1]["valid"]


def test_a_changed_script_is_not_resumed(tmp_path: Path) -> None:
    mine = tmp_path / "mine.py"
    text = (
        "from rig.guide.steps import Ask, Tell\n"
        "TITLE = 'mine'\n"
        "def procedure(params, bench):\n"
        "    yield Tell('one')\n"
        "    yield Ask('two?', key='two')\n"
        "    return {}\n"
    )
    mine.write_text(text)
    from rig.guide import script as scripts

    def hook(rig: VirtualRig, shown: str) -> None:
        if shown == "two?":
            raise Cut

    rig = VirtualRig(hook=hook)
    with new_book(tmp_path) as book:
        with pytest.raises(Cut):
            run(book, rig, scripts.load(str(mine)), {}, answers={"two": ["x"]})
        mine.write_text(text.replace("one", "uno"))
        runner = Runner(book, benches.load(None), rig.device, rig.operator())
        with pytest.raises(ScriptChanged, match="has changed since run 1"):
            runner.resume(1, scripts.load(str(mine)))


def test_every_reason_of_the_interlock_has_words_for_a_person() -> None:
    assert set(TEXT) == set(Reason)
