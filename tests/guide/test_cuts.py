"""Cuts to dull, played without a board: probes, the rule, media, and every bad input."""

import dataclasses

import pytest

from rig import bench as benches
from rig.bench import Bench
from rig.errors import RigError
from rig.virtual.frame.wear import WearTruth
from tests.guide.edgeplay import SHORT_LIVED, Play

FAST = {"first": "10", "ratio": "1.5", "limit": "400"}  # 10 15 22 33 49 73 109 ...


def carried() -> Bench:
    """A bench with the cell on the carriage and a motor."""
    bench = benches.load(None)
    cell = bench.cell.model_copy(update={"mounted": "carriage"})
    drive = bench.frame.drive.model_copy(update={"fitted": True})
    frame = bench.frame.model_copy(update={"drive": drive})
    return bench.model_copy(update={"cell": cell, "frame": frame})


def test_an_edge_that_dulls_has_its_life_between_two_probes_and_two_probes_show_it() -> None:
    play = Play()
    told = play.run(**FAST)
    low, high = told["life"]["last_pass_cuts"], told["life"]["first_fail_cuts"]
    assert (low, high) == (33, 49)
    # Two of three places fail when the middle one does; every place has its own life.
    edge = play.hands.edge_of("K3")
    lives = sorted(SHORT_LIVED.life_cuts(0.95 / place) for place in edge.places)
    assert low < lives[1] <= high
    assert told["valid"] and not told["hand_counted"] and told["counts"]["cuts"] == 73
    assert [p["cuts"] for p in told["probes"]] == [10, 15, 22, 33, 49, 73]
    assert told["edge"] == "worn"


def test_the_interval_of_every_blade_holds_the_life_that_is_true() -> None:
    for number in range(30):
        play = Play()
        told = play.run(specimen=f"K{number}", **FAST)
        edge = play.hands.edge_of(f"K{number}")
        true = sorted(SHORT_LIVED.life_cuts(0.95 / place) for place in edge.places)[1]
        life = told["life"]
        assert life["last_pass_cuts"] <= true < life["first_fail_cuts"] + 1


def test_an_edge_still_sharp_at_the_limit_is_a_bound_and_no_failure() -> None:
    told = Play().run(first="5", ratio="1.5", limit="20")
    assert told["valid"] and told["life"] == {"last_pass_cuts": 20.0, "first_fail_cuts": None}
    assert told["ended"] == "limit of cuts reached, still sharp"


def test_a_chip_ends_a_life_by_force_at_once() -> None:
    play = Play(truth=dataclasses.replace(SHORT_LIVED, rise=0.01, chip_per_cut=1.0))
    told = play.run(
        probe="force", force_limit="0.9 N", readings="7", first="5", limit="40", ratio="2"
    )
    assert told["edge"] == "chipped"
    assert told["valid"]


def test_measured_probes_tell_the_crossing_beside_the_interval() -> None:
    play = Play(truth=WearTruth(rise=1.0))
    told = play.run(probe="shave,force", force_limit="1.0 N", **FAST)
    life = told["life"]
    result = [s for s in play.steps if getattr(s, "measurand", "") == "edge_life"]
    assert len(result) == 1
    assert told["ended"] == "dull: force above its limit"
    assert life["first_fail_cuts"] in (49, 73)
    assert all(len(p["readings_n"]) == 7 and p["u_n"] > 0 for p in told["probes"])


def test_media_are_put_down_and_changed_after_their_cuts_with_the_control_blade_first() -> None:
    play = Play({"moisture": ["8 %"]}, bench=carried())
    told = play.run(
        media="wood, ash", cuts_per_sheet="30", control="C0", control_cuts="4", force="yes",
        drive="hand", block="2", **FAST,
    )  # fmt: skip
    (medium,) = play.notes["media"]
    assert medium["moisture"] == "8 %" and medium["block"] == "2" and medium["lot"] == "L7"
    sheets = [note["sheet"] for note in play.notes["sheet"]]
    assert sheets == ["sheet 1", "sheet 2", "sheet 3"]
    controls = play.notes["control"]
    assert [c["sheet"] for c in controls] == sheets and all(c["cuts"] == 4 for c in controls)
    # The control's cuts are none of the blade's: 26 fit on a sheet beside them.
    assert told["counts"]["cuts"] == 73
    assert play.counts() == [2, 4, 10, 5, 7, 4, 4, 7, 16, 3, 4, 21]


def test_the_cost_of_the_schedule_asked_for_is_told_in_one_line_before_the_first_cut() -> None:
    play = Play()
    play.run(probes="planned", pilot="40", share="20%")
    (text,) = [t for t in play.told if t.startswith("Probes after")]
    assert "\n" not in text and "geometric" not in text and "stepped" not in text
    assert "probes for a life of 40 cuts" in text


def test_an_edge_not_sharp_enough_at_the_start_is_not_cut() -> None:
    play = Play({"shave_3": ["fail fail pass"]})
    told = play.run(**FAST)
    assert not told["valid"] and told["life"] is None
    assert told["reasons"][0].startswith("the edge was not as sharp at the start")
    assert play.counts() == []


def test_the_probe_at_the_start_cannot_be_left_out() -> None:
    play = Play({"shave_3": ["skip", "look"]})
    told = play.run(**FAST)
    assert play.said("The probe at the start cannot be left out") and told["valid"]


def test_a_probe_left_out_keeps_the_interval_honest_and_its_reason() -> None:
    play = Play({"shave_3": [*["look"] * 4, "skip", "look"], "skipped": ["the light failed"]})
    told = play.run(**FAST)
    assert [p["cuts"] for p in told["probes"]] == [10, 15, 22, 49, 73]
    assert told["skipped"] == [{"cuts": 33, "why": "the light failed"}]
    assert told["life"] == {"last_pass_cuts": 22.0, "first_fail_cuts": 49.0}, "wider, and true"


def test_a_place_that_fails_and_passes_when_tried_again_has_failed() -> None:
    play = Play({"shave_3": ["p,p,p", "repeat r pass", "look"]})
    told = play.run(**FAST)
    assert play.said("It failed once: that stands")
    assert told["probes"][0]["passed"].count(False) >= 2
    assert told["probes"][0]["grades"]["shave"][0] == "repeat"
    assert play.said("It failed at 10 cuts and passes now: the failure is not confirmed")
    assert told["life"]["last_pass_cuts"] >= 15


def test_a_criterion_is_not_changed_half_way_and_the_way_to_another_is_told() -> None:
    play = Play({"shave_3": ["ppp", "change", "look"]})
    told = play.run(**FAST)
    (text,) = [t for t in play.told if t.startswith("The criterion was fixed")]
    assert "--abandon" in text and "start a new trial" in text
    assert told["valid"] and {t.split("Pass means: ")[1] for t in play.asked("shave_3")} == {
        "takes hair off at one light stroke, no second stroke. (repeat: it failed, then passed; "
        "skip; change)"
    }


def test_media_that_run_out_are_changed_and_no_cut_is_lost() -> None:
    play = Play({"pause": ["media"]})
    play.strokes = [{}, {"counted": 6, "ended": "SAID"}]
    told = play.run(**FAST)
    assert told["valid"] and told["counts"]["cuts"] == 73
    assert [n["sheet"] for n in play.notes["sheet"]] == ["sheet 1", "sheet 2"]
    assert play.counts()[:3] == [2, 10, 4]


def test_a_test_that_is_ended_early_is_a_bound_with_its_reason() -> None:
    play = Play({"pause": ["end"], "stopped": ["going home"]})
    play.strokes = [{}, {}, {}, {"counted": 3, "ended": "STOPPED"}]
    told = play.run(**FAST)
    assert told["life"] == {"last_pass_cuts": 18.0, "first_fail_cuts": None}
    assert told["ended"] == "going home" and told["valid"]


def test_strokes_made_unseen_are_asked_for_and_marked_as_counted_by_hand() -> None:
    play = Play({"unseen": ["many", "3"]})
    play.strokes = [{}, {"counted": 4, "ended": "RESTARTED"}]
    told = play.run(**FAST)
    assert all("restarted. It saw 4 of the" in text for text in play.asked("unseen"))
    assert play.said("'many' is no count of cuts")
    assert play.counts()[:3] == [2, 10, 3]
    assert told["hand_counted"] and told["counts"]["typed"] == 3 and told["valid"]


def test_a_restart_with_nothing_made_unseen_stays_the_rig_s_count() -> None:
    play = Play()
    play.strokes = [{}, {"counted": 4, "ended": "RESTARTED"}]
    told = play.run(**FAST)
    assert not told["hand_counted"] and told["valid"] and told["counts"]["cuts"] == 73


def test_cuts_typed_by_hand_are_marked_so_everywhere() -> None:
    play = Play({"hand_count": ["ten", "10", "5", "7", "11", "16", "24"]})
    told = play.run(count="hand", **FAST)
    assert told["hand_counted"] and told["counts"]["typed"] == told["counts"]["cuts"] == 73
    assert play.counts() == [] and play.said("'ten' is no count of cuts")
    assert play.said("73 of 73 cuts counted by hand")


def test_a_probe_made_late_counts_where_it_was_made() -> None:
    play = Play()
    play.strokes = [{}, {"counted": 12}]
    told = play.run(**FAST)
    assert play.said("The probe due at 10 cuts is made at 12")
    assert [p["cuts"] for p in told["probes"]][:2] == [12, 15]


def test_many_rejected_strokes_make_the_trial_not_valid_and_its_life_is_kept() -> None:
    play = Play()
    play.strokes = [{}, {"rejected": {"partial": 9}}]
    told = play.run(**FAST)
    assert not told["valid"] and "9 strokes were not counted" in told["reasons"][0]
    assert told["life"]["first_fail_cuts"] == 49


def test_switches_that_do_not_count_two_are_tried_again_or_given_up_before_a_cut() -> None:
    bad = {"counted": 0, "rejected": {"partial": 3}}
    play = Play({"again": ["again"]})
    play.strokes = [bad]
    assert play.run(**FAST)["valid"]
    assert any("Not counted: 3" in step.text for step in play.steps)
    play = Play({"again": ["stop"]})
    play.strokes = [bad]
    with pytest.raises(RigError, match="the switches were not in order"):
        play.run(**FAST)


@pytest.mark.parametrize(
    ("given", "line"),
    [
        ({"probe": "lick"}, "probe: 'lick' is no probe"),
        ({"probe": "force"}, "force_limit: the force alone is probed, .* like force_limit=2N"),
        ({"probe": "force", "readings": "2", "force_limit": "1 N"}, "readings: 2 readings"),
        ({"probes": "often"}, "probes: no probes 'often'"),
        ({"probes": "planned"}, "pilot: planned probes need a pilot life"),
        ({"ratio": "x"}, "ratio: 'x' is no ratio"),
        ({"ratio": "0.9"}, "give a ratio above 1"),
        ({"failing": "4"}, "failing: 4 failing places of the 3 that are marked; .*: 1 to 3"),
        ({"successive": "999999999"}, "successive: 999999999 failing probes in a row, of"),
        ({"probe": "force", "force_limit": "2 N", "readings": "99999999"}, "100 or fewer"),
        ({"places": "0"}, "places: 0 marked places"),
        ({"drive": "motor"}, "drive: this frame has no motor"),
        ({"drive": "steam"}, "drive: drive=steam"),
        ({"force": "yes"}, "cell.mounted: cell 1 is mounted on the arm"),
        ({"control": "C0"}, "control: a control blade shows nothing"),
        ({"cuts_per_sheet": "0"}, "cuts_per_sheet: a sheet of 0 cuts"),
    ],
)
def test_what_cannot_be_kept_is_refused_before_anything_is_opened(
    given: dict[str, str], line: str
) -> None:
    with pytest.raises(RigError, match=line) as refused:
        Play().run(**given)
    assert "\n" not in str(refused.value)


def test_hand_counting_with_motor_or_force_is_refused() -> None:
    for more in ({"drive": "motor"}, {"force": "yes", "drive": "hand"}):
        with pytest.raises(RigError, match="count: cuts counted by hand"):
            Play(bench=carried()).run(count="hand", **more)


def test_the_motor_is_used_when_the_bench_has_one() -> None:
    play = Play(bench=carried())
    play.run(**FAST)
    driven = [step.driven for step in play.steps if hasattr(step, "driven")]
    assert driven[0] is False and all(driven[1:]), "switches are tried by hand, the rest driven"


def test_nothing_on_screen_tells_group_or_earlier_probes_before_a_place_is_graded() -> None:
    play = Play()
    play.run(**FAST)
    for text in play.asked("shave_3"):
        assert "group" not in text and "fail" not in text.partition(" at marks")[0]
