"""Cuts to dull through the virtual rig from the first probe to the verdict, killed and resumed."""

import random
from pathlib import Path

import pytest

from rig import bench as benches
from rig.bench import Bench
from rig.guide import script as scripts
from rig.guide.recompute import recompute
from rig.logbook import Logbook
from rig.logbook.audit import audit
from tests.guide.edgeplay import SHORT_LIVED
from tests.guide.framerig import Cut, FrameRig, play
from tests.guide.rigs import new_book

QUICK = {"specimen": "K3", "first": "10", "ratio": "1.5", "limit": "80"}


def driven() -> Bench:
    """A bench with a motor and the cell on the carriage."""
    bench = benches.load(None)
    cell = bench.cell.model_copy(update={"mounted": "carriage"})
    drive = bench.frame.drive.model_copy(update={"fitted": True})
    frame = bench.frame.model_copy(update={"drive": drive})
    return bench.model_copy(update={"cell": cell, "frame": frame})


def rig_with(**given: object) -> FrameRig:
    """A rig whose blades last about 41 cuts."""
    rig = FrameRig(**given)  # type: ignore[arg-type]
    rig.hands.wears = SHORT_LIVED
    return rig


def test_a_whole_test_by_motor_with_forces_gives_the_life_that_is_true(tmp_path: Path) -> None:
    rig = rig_with(load=True, turn_s=0.7)
    script = scripts.load("cuts_to_dull")
    with new_book(tmp_path) as book:
        told, operator = play(
            book, rig, script, bench=driven(),
            given={**QUICK, "ratio": "2", "limit": "60", "force": "yes", "probe": "shave,force",
                   "force_limit": "2 N", "readings": "3", "cuts_per_sheet": "33",
                   "control": "C0", "control_cuts": "3"},
        )  # fmt: skip
        path = book.path
        steps = [row.body["step"] for row in book.journal(kind="step")]
    (used,) = [one["settings"] for one in steps if one.get("measurand") == "edge_life"]
    edge = rig.hands.edge_of("K3")
    lives = sorted(SHORT_LIVED.life_cuts(0.95 / place) for place in edge.places)
    life = told["life"]
    # A sheet wears an edge by its own harshness: up to a fifth more or less than the cuts told.
    assert life["last_pass_cuts"] / 1.2 < lives[1] < 1.2 * life["first_fail_cuts"]
    assert told["valid"] and not told["hand_counted"]
    assert told["counts"]["cuts"] == 60 and told["counts"]["rejected"] == {}
    assert rig.frame.strokes == 60 + 2 + 2 * 3, "blade, switches, control on two sheets"
    forces = [force for _, force in used["forces"]]
    assert forces[-1] > 1.05 * forces[0] and all(one["force_n"] > 0 for one in used["controls"])
    assert all(one.same for one in recompute(path)) and audit(path) == []
    assert any(line.startswith("5 of 10 cuts") for line in operator.lines)


def test_killed_again_and_again_it_ends_with_the_count_that_is_true(tmp_path: Path) -> None:
    chance, script = random.Random(7), scripts.load("cuts_to_dull")
    rig = rig_with(resets=False)

    def dies(_: FrameRig, __: str) -> None:
        if chance.random() < 0.0006:
            raise Cut

    rig.live = dies
    kills = 0
    with new_book(tmp_path) as book:
        path = book.path
    for _life in range(60):
        with Logbook.open(path, writable=True) as book:
            try:
                told, _operator = play(book, rig, script, given=QUICK)
                break
            except Cut:
                kills += 1
                rig.device.link = rig.connect()
    assert kills >= 5
    cuts = told["counts"]["cuts"]
    assert told["valid"] and not told["hand_counted"]
    # Hands do not stop when the program dies: what they made then is in the count, not lost.
    assert cuts + 2 <= rig.frame.strokes <= cuts + 2 + kills
    assert audit(path) == []


def test_a_restart_in_a_stretch_asks_for_what_was_not_seen_and_marks_it(tmp_path: Path) -> None:
    script = scripts.load("cuts_to_dull")

    def dies(_: FrameRig, text: str) -> None:
        if text.startswith("6 of 10 cuts"):
            raise Cut

    rig = rig_with()
    rig.live = dies
    with new_book(tmp_path) as book:
        with pytest.raises(Cut):
            play(book, rig, script, given=QUICK)
        path = book.path
    again = rig_with(boot=300)
    with Logbook.open(path, writable=True) as book:
        told, operator = play(book, again, script, {"unseen": ["2"]}, given=QUICK)
    assert any("It saw 6 of the" in text for text in operator.log)
    assert told["hand_counted"] and told["counts"]["typed"] == 2
    assert [p["cuts"] for p in told["probes"]][:2] == [10, 15]


@pytest.mark.parametrize("dies_at", ["6 of 10 cuts", "K3 after 15 cuts, shave at marks"])
def test_a_virtual_blade_is_as_worn_in_a_new_process_as_it_was_in_the_old(
    tmp_path: Path, dies_at: str
) -> None:
    def dies(_: FrameRig, text: str) -> None:
        if text.startswith(dies_at):
            raise Cut

    rig = rig_with()
    rig.live = rig.hook = dies
    with new_book(tmp_path) as book:
        with pytest.raises(Cut):
            play(book, rig, scripts.load("cuts_to_dull"), given=QUICK)
        path = book.path
    left = rig.hands.edge_of("K3")
    again, seen = rig_with(boot=300), list[float]()

    def first(new: FrameRig, _: str) -> None:
        seen.append(new.hands.edge_of("K3").cuts)

    again.hook = first
    with Logbook.open(path, writable=True) as book:
        told, _ = play(book, again, scripts.load("cuts_to_dull"), given=QUICK)
    assert left.cuts > 5 and seen[0] == pytest.approx(left.cuts)
    lives = sorted(SHORT_LIVED.life_cuts(0.95 / place) for place in left.places)
    life = told["life"]
    assert life["last_pass_cuts"] / 1.2 < lives[1] < 1.2 * life["first_fail_cuts"]


def test_media_that_run_out_half_way_are_changed_and_the_count_goes_on(tmp_path: Path) -> None:
    rig = rig_with()
    said: list[str] = []

    def out(rig: FrameRig, text: str) -> None:
        if text.startswith("4 of 10 cuts") and not said:
            said.append(text)
            rig.words.append("pause")

    rig.live = out
    with new_book(tmp_path) as book:
        told, _ = play(book, rig, scripts.load("cuts_to_dull"), {"pause": ["media"]}, given=QUICK)
        sheets = [row.body["sheet"] for row in book.journal(kind="sheet")]
    assert told["valid"] and sheets == ["sheet 1", "sheet 2"]
    assert told["counts"]["cuts"] + 2 == rig.frame.strokes
