"""Strokes counted through the virtual rig: by hand and motor, through kills, resets and faults."""

from collections.abc import Callable
from pathlib import Path

import pytest

from rig.errors import RigError
from rig.guide import stretch
from rig.guide.stretch import TALLY
from rig.logbook import Logbook
from rig.logbook.audit import audit
from tests.guide.framerig import Cut, FrameRig, Hook, one_stretch, play
from tests.guide.rigs import new_book


def at_count(number: int, act: Callable[[FrameRig], None]) -> Hook:
    """Do something, once, when the live line shows a count."""
    done: list[int] = []

    def look(rig: FrameRig, text: str) -> None:
        if text.startswith(f"{number} of") and not done:
            done.append(number)
            act(rig)

    return look


def later(seconds: float, act: Callable[[FrameRig], None]) -> Callable[[FrameRig], None]:
    """The same a little later, in the middle of a stroke."""
    return lambda rig: rig.tower.schedule(rig.tower.now_s + seconds, lambda: act(rig))


def open_guard(rig: FrameRig) -> None:
    rig.tower.switch("GUARD", 1, rig.tower.now_s)


def press(rig: FrameRig) -> None:
    rig.person.act("press", {})


def cut_off(_: FrameRig) -> None:
    raise Cut


def test_what_a_hand_draws_is_counted_and_what_is_no_full_stroke_is_told(tmp_path: Path) -> None:
    rig = FrameRig(seed=4)
    rig.hands.partial, rig.hands.hesitant = 0.25, 0.2
    with new_book(tmp_path) as book:
        told, operator = play(book, rig, one_stretch(tmp_path, count=15))
    assert told["counted"] == rig.frame.strokes == 15
    assert told["rejected"].get("partial", 0) > 0
    assert told["ended"] == "COUNT"
    assert any("turned back before the far switch" in text for text in operator.log)
    assert any(line.startswith("7 of 15 cuts [#########...") for line in operator.lines)


def test_bounce_and_chatter_add_nothing_to_the_count(tmp_path: Path) -> None:
    rig = FrameRig()
    rig.frame.fault("switch_chatter")
    with new_book(tmp_path) as book:
        told, _ = play(book, rig, one_stretch(tmp_path))
    assert (told["counted"], told["rejected"]) == (10, {}) and rig.frame.strokes == 10


def test_strokes_out_of_the_time_band_do_not_count(tmp_path: Path) -> None:
    rig = FrameRig()
    rig.hands.stroke_s = 1.0
    with new_book(tmp_path) as book, pytest.raises(RigError, match="too fast") as refused:
        play(book, rig, one_stretch(tmp_path, min_ms=3000))
    assert "5 strokes in a row were not counted: too fast; draw slower" in str(refused.value)


def test_the_motor_makes_just_the_strokes_it_is_permitted_after_a_hand_started_it(
    tmp_path: Path,
) -> None:
    rig = FrameRig()
    with new_book(tmp_path) as book:
        told, operator = play(book, rig, one_stretch(tmp_path, driven=True))
        kinds = [row.kind for row in book.journal()]
        (permit,) = book.journal(kind="drive_permit")
    assert (told["counted"], told["ended"]) == (10, "COUNT") and rig.frame.strokes == 10
    assert permit.body["strokes"] == 10
    assert kinds.index("drive_permit") < kinds.index("drive_ended")
    assert any(text.startswith("PRESS NOW: the button") for text in operator.log)


def test_an_opened_guard_stops_the_motor_and_the_rest_needs_a_new_permit(tmp_path: Path) -> None:
    rig = FrameRig(live=at_count(3, later(0.5, open_guard)))
    with new_book(tmp_path) as book:
        told, operator = play(book, rig, one_stretch(tmp_path, driven=True))
        permits = [row.body["strokes"] for row in book.journal(kind="drive_permit")]
    assert told["counted"] == 10 == rig.frame.strokes
    assert len(permits) == 2 and permits[0] == 10 and permits[1] in (6, 7)
    assert any(text.startswith("The motor stopped: the guard is open") for text in operator.log)


def test_the_button_pressed_again_stops_and_the_procedure_is_told(tmp_path: Path) -> None:
    rig = FrameRig(live=at_count(3, press))
    with new_book(tmp_path) as book:
        told, _ = play(book, rig, one_stretch(tmp_path, driven=True))
    assert told["ended"] == "STOPPED" and 3 <= told["counted"] <= 4


def test_a_blocked_crank_is_told_and_the_motor_stays_off(tmp_path: Path) -> None:
    rig = FrameRig(live=at_count(2, later(0.25, lambda rig: rig.frame.fault("drive_stalls"))))
    with new_book(tmp_path) as book:
        told, operator = play(book, rig, one_stretch(tmp_path, driven=True))
    assert told["ended"] == "STALL" and told["counted"] in (2, 3)
    assert any("the carriage reached no switch in time" in text for text in operator.log)


def test_ctrl_c_stops_the_motor(tmp_path: Path) -> None:
    def stop(_: FrameRig) -> None:
        raise KeyboardInterrupt

    rig = FrameRig(live=at_count(2, stop))
    with new_book(tmp_path) as book, pytest.raises(KeyboardInterrupt):
        play(book, rig, one_stretch(tmp_path, driven=True))
    made = rig.frame.strokes
    rig.device.link.wait(3.0)
    assert rig.frame.strokes <= made + 1 and rig.frame.quiet_until_s == float("inf")


def test_a_program_killed_in_a_stretch_takes_in_what_the_board_counted_meanwhile(
    tmp_path: Path,
) -> None:
    rig = FrameRig(resets=False, live=at_count(4, cut_off))
    script = one_stretch(tmp_path, count=12)
    with new_book(tmp_path) as book:
        with pytest.raises(Cut):
            play(book, rig, script)
        path = book.path
    rig.live = None
    rig.board.clock.sleep(3.0)  # nobody listens, the hand goes on
    made = rig.frame.strokes
    assert made > 4
    rig.device.link = rig.connect()
    with Logbook.open(path, writable=True) as book:
        told, _ = play(book, rig, script)
    assert told["ended"] == "COUNT"
    assert told["counted"] == rig.frame.strokes
    assert audit(path) == []


def test_after_a_restart_of_the_board_what_was_seen_is_kept_and_nothing_is_made_up(
    tmp_path: Path,
) -> None:
    rig = FrameRig(live=at_count(4, cut_off))
    script = one_stretch(tmp_path, count=12)
    with new_book(tmp_path) as book:
        with pytest.raises(Cut):
            play(book, rig, script)
        path = book.path
    again = FrameRig(boot=200)
    with Logbook.open(path, writable=True) as book:
        told, _ = play(book, again, script)
        last = [row.body for row in book.journal(kind=TALLY)][-1]
    assert (told["ended"], told["counted"]) == ("RESTARTED", 4)
    assert again.frame.strokes == 0 and last["tally"]["boot"] != told["boot"]


def test_a_cable_pulled_out_and_put_back_loses_no_stroke_that_was_seen(tmp_path: Path) -> None:
    def back(rig: FrameRig, text: str) -> None:
        if "Waiting for it" in text:
            rig.board.fault("unplugged", 0)

    rig = FrameRig(hook=back, live=at_count(4, lambda rig: rig.board.fault("unplugged")))
    with new_book(tmp_path) as book:
        told, _ = play(book, rig, one_stretch(tmp_path, count=12))
        assert [row.body["what"] for row in book.journal(kind="line")][-1] == "connected again"
        assert book.raw_ids(), "the frames until then are kept"
    assert (told["ended"], told["counted"]) == ("RESTARTED", 4)


def test_a_noisy_line_loses_no_stroke(tmp_path: Path) -> None:
    rig = FrameRig(seed=2)
    rig.board.fault("lose_bytes", 0.002)
    with new_book(tmp_path) as book:
        told, _ = play(book, rig, one_stretch(tmp_path, count=20))
    assert told["counted"] == rig.frame.strokes == 20


def test_a_pause_that_is_typed_ends_the_stretch_with_its_count(tmp_path: Path) -> None:
    rig = FrameRig(live=at_count(3, lambda rig: rig.words.append("pause")))
    with new_book(tmp_path) as book:
        told, _ = play(book, rig, one_stretch(tmp_path))
    assert (told["ended"], told["counted"]) == ("SAID", 3)


def test_a_pause_stops_the_motor(tmp_path: Path) -> None:
    rig = FrameRig(live=at_count(3, lambda rig: rig.words.append("pause")))
    with new_book(tmp_path) as book:
        told, _ = play(book, rig, one_stretch(tmp_path, driven=True))
    assert told["ended"] == "SAID" and told["counted"] in (3, 4)


@pytest.mark.parametrize(
    ("fault", "line"),
    [
        ("near_broken", "neither switch is closed.*the near switch or its wire is broken"),
        ("switches_swapped", "the far switch is closed, not the near one.*swapped"),
        ("far_stuck", "both switches are closed: one is stuck"),
    ],
)
def test_switches_that_make_no_sense_at_home_are_named_before_a_stroke(
    tmp_path: Path, fault: str, line: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(stretch, "HOME_LIMIT_S", 10.0)  # of virtual time, which costs real time
    rig = FrameRig()
    rig.frame.fault(fault)
    with new_book(tmp_path) as book, pytest.raises(RigError, match=line) as refused:
        play(book, rig, one_stretch(tmp_path))
    assert "\n" not in str(refused.value) and "--resume" in str(refused.value)
    assert rig.frame.strokes == 0


@pytest.mark.parametrize(
    ("fault", "line"),
    [
        ("near_stuck", "both switches closed at once; a switch is stuck or the wires touch"),
        ("far_broken", "turned back before the far switch; draw to the very end; if you did, the "
         "far switch does not close"),
    ],
)  # fmt: skip
def test_a_switch_that_fails_in_a_stroke_stops_after_five_and_the_count_is_kept(
    tmp_path: Path, fault: str, line: str
) -> None:
    rig = FrameRig(live=at_count(2, lambda rig: rig.frame.fault(fault)))
    script = one_stretch(tmp_path)
    with new_book(tmp_path) as book:
        with pytest.raises(RigError, match="5 strokes in a row were not counted") as refused:
            play(book, rig, script)
        assert line in str(refused.value) and "\n" not in str(refused.value)
        assert [row.body["tally"]["last"] for row in book.journal(kind=TALLY)]
        path = book.path
    rig.frame.fault(fault, on=False)
    rig.live, rig.resets = None, False
    rig.device.link = rig.connect()
    with Logbook.open(path, writable=True) as book:
        told, _ = play(book, rig, script)
    assert told["counted"] >= 10 and told["ended"] == "COUNT"


def test_each_stroke_has_its_cutting_force_and_it_grows(tmp_path: Path) -> None:
    rig = FrameRig(load=True)
    rig.hands.act("mount", {"specimen": "K3"})
    assert rig.frame.edge is not None
    rig.frame.edge.cuts = 5.0
    with new_book(tmp_path) as book:
        told, _ = play(book, rig, one_stretch(tmp_path, count=12, load=True))
    codes = told["mean_codes"]
    assert len(codes) == 12
    assert sum(codes[8:]) > sum(codes[:4])
