"""Every page of a run says what to do next, and every command it names can be typed as it is."""

import shlex
from pathlib import Path
from typing import Any

from rig import bench as benches
from rig.guide.runner import Runner
from rig.logbook import Logbook
from rig.report.afterwards import _further, steps
from rig.report.gather import gather
from rig.study.register import dealing, kept
from rig.virtual.arm.truth import Failure, TipTruth
from tests.cli.inside import done
from tests.guide.jigs import TIPS, JigRig
from tests.guide.rigs import VirtualRig, impact, run
from tests.report.test_unfinished import LOOK, stopped, stops_at
from tests.report.text import words
from tests.study.books import record


def due(path: Path) -> list[str]:
    """What the last run's page says is due."""
    told = steps(gather(path, None))
    page = words(path)
    assert "What to do next" in page and all(" ".join(one.split()) in page for one in told)
    return told


def jammed(rig: VirtualRig, text: str) -> None:
    """The catch sticks at the first drop."""
    if text.startswith("Drop "):
        rig.tower.fault("catch_jammed", on=text.startswith("Drop 1:"))


def test_a_run_that_stopped_names_what_goes_on_as_it_can_be_typed(tmp_path: Path) -> None:
    path = stopped(tmp_path / "my blades.logbook", stops_at(LOOK))
    (one,) = due(path)
    typed = one.split("stopped: ")[1]
    assert shlex.split(typed) == [
        "bladerig", "run", "drop_impact", "my blades.logbook", "--resume", "--virtual",
    ]  # fmt: skip


def test_a_run_that_was_given_up_names_how_it_is_begun_anew(tmp_path: Path) -> None:
    path = stopped(tmp_path / "b.logbook", stops_at(LOOK))
    with Logbook.open(path, writable=True) as book:
        book.end_run(book.unfinished_runs()[-1].run_id, "abandoned", "wrong blade")
    (one,) = due(path)
    assert "given up (wrong blade)" in one
    assert one.endswith("bladerig run drop_impact b.logbook 'energy=5 J' specimen=K3 --virtual")


def test_drops_that_do_not_count_and_a_lacking_certificate_are_due_first(tmp_path: Path) -> None:
    with Logbook.create(tmp_path / "b.logbook", title="b") as book:
        run(book, VirtualRig(hook=jammed), *impact())
        path = book.path
    told = due(path)
    assert told[0].startswith("Not valid: K3 drop 1. Put right") and "on a fresh site" in told[0]
    assert told[1].endswith("measure again: bladerig calibrate height --virtual")
    assert len(told) == 2, "an indication sends nobody on to the next blade"


def test_a_tip_that_held_asks_for_a_harder_block(tmp_path: Path) -> None:
    path, _ = JigRig(TIPS["survived"]).run(tmp_path, "pry_to_failure")
    told = due(path)
    assert any("a harder block" in one for one in told)
    assert any("bladerig calibrate load --virtual; bladerig calibrate angle" in one for one in told)


def test_a_tip_that_bent_while_its_torque_rose_is_not_said_to_have_held(tmp_path: Path) -> None:
    rising = TipTruth(kind=Failure.BEND, plateau_nm=15.0, spread_rad=0.3)
    path, _ = JigRig(rising).run(tmp_path, "pry_to_failure")
    (trial,) = gather(path, None).tested
    assert trial.valid and trial.result["kind"] == "bend" and trial.result["censored"] == "right"
    told = due(path)
    assert any("bent while its torque still rose" in one for one in told)
    assert not any("held" in one for one in told)


def test_a_pry_that_did_not_count_sends_to_the_order_of_a_dealt_study(tmp_path: Path) -> None:
    path, _ = JigRig(TIPS["slip"]).run(tmp_path, "pry_to_failure")
    assert "measure again with another tip: this one is used up" in due(path)[0]
    with Logbook.open(path, writable=True) as book:
        kept.enter(book, record({"A": 2, "B": 2}))
        dealing.deal(book, 1)
    first = due(path)[0]
    assert "see what comes: bladerig study next jig.logbook. Where the blade allows it" in first
    assert "group" not in first


def test_what_a_study_asks_for_next_follows_how_far_it_is(tmp_path: Path) -> None:
    path, _ = JigRig(TIPS["snap"]).run(tmp_path, "pry_to_failure")
    view = gather(path, None)

    def last() -> str:
        return list(_further(view))[-1].partition(": ")[2]

    with Logbook.open(path, writable=True) as book:
        kept.enter(book, record({"A": 2, "B": 2}))
        assert last() == "bladerig study deal jig.logbook"
        order = dealing.deal(book, 1)
        assert last() == "bladerig study next jig.logbook"
        for code in order.codes:
            run_id = book.start_run("pry_to_failure", "1", {}, {"device": "virtual"})
            book.append("verdict", {"trial": code, "specimen": code, "reasons": []}, run_id)
            book.end_run(run_id, "finished", "the procedure came to its end")
        assert last() == "bladerig study unseal jig.logbook"
        kept.unseal(book, "all planned trials are made")
        assert last() == "bladerig compare jig.logbook"


def test_a_result_that_counts_sends_on_to_the_next_blade_and_to_a_plan(
    tmp_path: Path,
) -> None:
    from rig.guide import script as scripts
    from rig.guide.parameters import read_all
    from tests.guide.test_hardness import TYPED

    script, rig = scripts.load("hardness"), VirtualRig()
    with Logbook.create(tmp_path / "b.logbook", title="b") as book:
        given: dict[str, Any] = read_all(script.parameters, {"specimen": "K3"})
        Runner(book, benches.load(None), rig.device, rig.operator(TYPED)).start(script, given)
        path = book.path
    told = due(path)
    assert told[0].endswith("bladerig run hardness b.logbook specimen=CODE --virtual")
    assert "compares nothing" in told[1]
    assert done("recompute", path) == "1 of 1 result is the same, values within 0.001 U\n"
