"""The whole drop-weight procedure on the virtual rig: what it finds, and what it refuses."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from rig import bench as benches
from rig.bench import Bench
from rig.errors import RigError
from rig.guide.recompute import recompute
from rig.guide.runner import Runner
from rig.logbook import Logbook
from rig.logbook.audit import audit
from rig.virtual.tower.parameters import TowerTruth
from tests.guide.rigs import VirtualRig, impact, new_book, run


def at(text_start: str, act: Callable[[VirtualRig], None]) -> Callable[[VirtualRig, str], None]:
    """A hook that acts the first time a shown text begins so."""
    done: list[str] = []

    def hook(rig: VirtualRig, text: str) -> None:
        if text.startswith(text_start) and not done:
            done.append(text)
            act(rig)

    return hook


def test_a_drop_is_measured_within_its_uncertainty_and_audits_clean(tmp_path: Path) -> None:
    rig = VirtualRig()
    with new_book(tmp_path) as book:
        _, told = run(book, rig, *impact(drops="2"))
        path = book.path
    assert [drop["valid"] for drop in told["drops"]] == [True, True]
    for drop, truth in zip(told["drops"], rig.tower.truth[-2:], strict=True):
        # The default tower is the bench's belief exactly, so 3 U is never exceeded.
        assert abs(drop["energy_j"] - truth.impact_energy_j) < 3 * drop["energy_U_j"]
        assert drop["caught"]
    assert audit(path) == []
    assert all(compared.same for compared in recompute(path))


def test_a_second_strike_is_found_and_makes_the_drop_invalid(tmp_path: Path) -> None:
    rig = VirtualRig(hook=at("Drop 1:", lambda r: r.tower.fault("catch_jammed")))
    with new_book(tmp_path) as book:
        _, told = run(book, rig, *impact(spare="0"))
    drop, truth = told["drops"][0], rig.tower.truth[-1]
    assert not drop["valid"] and "struck 2 times" in drop["reasons"][0]
    assert truth.second is not None
    assert drop["second_strike_j"] == pytest.approx(truth.second.energy_j, rel=0.05)


def test_an_allowed_second_strike_counts_into_the_total(tmp_path: Path) -> None:
    rig = VirtualRig(hook=at("Drop 1:", lambda r: r.tower.fault("catch_jammed")))
    with new_book(tmp_path) as book:
        _, told = run(book, rig, *impact(allow_second_strike="yes"))
        (result,) = book.results(trial="K3 drop 1")
    assert told["drops"][0]["valid"]
    assert result.result["measurands"]["total_energy"]["value"] > 5.2


def test_frames_lost_in_the_fall_make_the_drop_invalid_and_it_is_made_again(tmp_path: Path) -> None:
    def lose(rig: VirtualRig) -> None:
        # The permit comes about half a second after this text; the fall a second later.
        rig.tower.schedule(rig.tower.now_s + 1.0, lambda: rig.board.fault("lose_bytes", 0.02))
        rig.tower.schedule(rig.tower.now_s + 2.5, lambda: rig.board.fault("lose_bytes", 0.0))

    rig = VirtualRig(hook=at("K3 drop 1:", lose))
    with new_book(tmp_path) as book:
        _, told = run(book, rig, *impact())
    first, *later = told["drops"]
    assert not first["valid"] and any("lost" in reason for reason in first["reasons"])
    assert later[-1]["valid"]


def test_an_open_guard_is_named_and_the_release_waits_for_it(tmp_path: Path) -> None:
    rig = VirtualRig(hook=at("K3 drop 1:", lambda r: r.tower.switch("GUARD", 1, r.tower.now_s)))
    operator_log: list[str] = []
    with new_book(tmp_path) as book:
        hook = rig.hook

        def both(r: VirtualRig, text: str) -> None:
            operator_log.append(text)
            assert hook is not None
            hook(r, text)

        rig.hook = both
        _, told = run(book, rig, *impact())
    told_why = [text for text in operator_log if text.startswith(("Not armed", "Nothing was"))]
    assert told_why and "guard is open" in told_why[0]
    assert told["drops"][0]["valid"]


def test_the_guard_opened_in_flight_trips_and_no_drop_counts(tmp_path: Path) -> None:
    def open_in_flight(rig: VirtualRig) -> None:
        def watch() -> None:
            if rig.tower.truth and rig.tower.truth[-1].release_s > began:
                rig.tower.switch("GUARD", 1, rig.tower.now_s)
            else:
                rig.tower.schedule(rig.tower.now_s + 0.005, watch)

        began = rig.tower.now_s
        watch()

    rig = VirtualRig(hook=at("K3 drop 1:", open_in_flight))
    with new_book(tmp_path) as book:
        _, told = run(book, rig, *impact())
    first, *later = told["drops"]
    assert not first["valid"]
    assert any("guard" in reason for reason in first["reasons"])
    assert later[-1]["valid"], "after the guard was opened and closed by hand"


def test_an_energy_beyond_the_tower_is_refused_before_anyone_lifts_a_finger(
    tmp_path: Path,
) -> None:
    with new_book(tmp_path) as book, pytest.raises(RigError, match=r"400 J needs a fall of"):
        run(book, VirtualRig(), *impact(energy="400 J"))


def test_an_energy_that_a_tower_in_order_may_give_is_refused_by_no_early_check(
    tmp_path: Path,
) -> None:
    """1.25 J is 55 mm on the design tower, 48 mm on the fastest in order, 104 mm on the slowest."""
    with new_book(tmp_path) as book:
        _, told = run(book, VirtualRig(), *impact(energy="1.25 J"))
    assert told["drops"][-1]["energy_j"] == pytest.approx(1.25, rel=0.03)


def test_an_energy_below_the_least_height_of_this_tower_is_refused_after_its_empty_drops(
    tmp_path: Path,
) -> None:
    with new_book(tmp_path) as book, pytest.raises(RigError, match=r"1 J is a fall of 4\d mm"):
        run(book, VirtualRig(), *impact(energy="1 J"))


def test_a_carriage_that_does_not_move_the_encoder_is_named(tmp_path: Path) -> None:
    rig = VirtualRig()
    rig.tower.fault("encoder_unplugged")
    with new_book(tmp_path) as book, pytest.raises(RigError, match="has not changed for 60 s"):
        run(book, rig, *impact())


def test_an_encoder_wired_backwards_is_named(tmp_path: Path) -> None:
    rig = VirtualRig()
    rig.tower.fault("encoder_backwards")
    with new_book(tmp_path) as book, pytest.raises(RigError, match="swap the encoder's wires"):
        run(book, rig, *impact())


def test_a_tower_that_changed_stops_the_session_until_someone_says_why(tmp_path: Path) -> None:
    dirty = replace(TowerTruth(), friction_ratio=0.09)
    with new_book(tmp_path, hours_ago=13) as book:
        run(book, VirtualRig(), *impact())
        path = book.path
    with Logbook.open(path, writable=True) as book:
        run(book, VirtualRig(truth=dirty), *impact())
        rows = list(book.journal(kind="tower_changed"))
    assert len(rows) == 1 and rows[0].body["reason"] == "oiled the rods"
    assert abs(rows[0].body["change"]) > 0.02


def falls(book: Logbook, rig: VirtualRig, bench: Bench | None = None, **given: str) -> int:
    """How often the carriage fell in a run."""
    run(book, rig, *impact(**given), bench=bench)
    return len(rig.tower.truth)


def test_empty_drops_hold_for_a_session_though_the_board_is_restarted(tmp_path: Path) -> None:
    # Opening the port resets most boards; an acceleration does not depend on where counts begin.
    with new_book(tmp_path) as book:
        assert falls(book, VirtualRig(boot=1)) == 6
        assert falls(book, VirtualRig(boot=2)) == 1
        assert falls(book, VirtualRig(boot=3), empty_drops="yes") == 6


def test_empty_drops_hold_for_the_bench_as_it_was_stated(tmp_path: Path) -> None:
    bench = benches.load(None)
    carriage = bench.tower.carriage.model_copy(update={"mass_kg": 2.1})
    heavier = bench.model_copy(
        update={"tower": bench.tower.model_copy(update={"carriage": carriage})}
    )
    with new_book(tmp_path) as book:
        falls(book, VirtualRig())
        assert falls(book, VirtualRig(), heavier) == 6


def test_practice_tells_a_real_rig_nothing(tmp_path: Path) -> None:
    real, again = VirtualRig(), VirtualRig(boot=2)
    real.device.kind = again.device.kind = "port"
    with new_book(tmp_path) as book:
        assert falls(book, real) == 6
        assert falls(book, VirtualRig(truth=replace(TowerTruth(), friction_ratio=0.09))) == 6
        assert not list(book.journal(kind="tower_changed")), "practice has a chart of its own"
        assert falls(book, again) == 1


def test_a_run_that_can_only_fail_again_is_ended_and_a_new_one_uses_the_mended_bench(
    tmp_path: Path,
) -> None:
    bench = benches.load(None)
    fall = bench.tower.fall.model_copy(update={"highest_a_m_s2": 8.0})
    wrong = bench.model_copy(update={"tower": bench.tower.model_copy(update={"fall": fall})})
    with new_book(tmp_path) as book:
        with pytest.raises(RigError, match=r"0 of 5 empty drops .* then start a new run"):
            run(book, VirtualRig(), *impact(), bench=wrong)
        assert not book.unfinished_runs(), "no dead end"
        _, told = run(book, VirtualRig(), *impact())
    assert told["drops"][0]["valid"]


def test_a_killed_empty_drop_is_told_and_made_again(tmp_path: Path) -> None:
    rig, seen = VirtualRig(boot=1), list[str]()
    act = rig.device.hands.act if rig.device.hands else None
    assert act is not None and rig.device.hands is not None

    def press(hand: str, detail: object) -> float:
        if hand == "press" and len(rig.tower.truth) == 1:
            raise KeyboardInterrupt
        return act(hand, detail)  # type: ignore[arg-type]

    rig.device.hands.act = press  # type: ignore[method-assign]
    script, params = impact()
    with new_book(tmp_path) as book:
        with pytest.raises(KeyboardInterrupt):
            run(book, rig, script, params)
        resumed = VirtualRig(boot=2, hook=lambda _, text: seen.append(text))
        Runner(book, benches.load(None), resumed.device, resumed.operator()).resume(1, script)
    assert "empty drop 2 was not recorded (the program was stopped after the permit). It is made " \
        "again." in seen  # fmt: skip


def test_every_contact_begins_with_a_still_carriage_and_an_open_guard(tmp_path: Path) -> None:
    seen: list[str] = []
    with new_book(tmp_path) as book:
        run(book, VirtualRig(hook=lambda _, text: seen.append(text)), *impact())
    contacts = [text for text in seen if "hand lever until the striker rests" in text]
    assert len(contacts) == 2, "one for all empty drops, one for the blade"
    for text in contacts:
        still, guard, lower = (text.index(w) for w in ("still", "open the guard", "Lower"))
        assert still < guard < lower
    again = [text for text in seen if "still" in text and "Raise the carriage" in text]
    assert len(again) == 4, "no empty drop after the first begins without these words either"
    for text in again:
        still, guard, raised = (text.index(w) for w in ("still", "open the guard", "Raise"))
        assert still < guard < raised


def test_the_damage_is_asked_for_before_the_measured_energy_is_shown(tmp_path: Path) -> None:
    shown: list[str] = []
    with new_book(tmp_path) as book:
        run(book, VirtualRig(hook=lambda _, text: shown.append(text)), *impact())
    (asked,) = [at for at, text in enumerate(shown) if text.startswith("Damage at this site")]
    (told,) = [at for at, text in enumerate(shown) if text.startswith("K3 drop 1: VALID")]
    assert asked < told
