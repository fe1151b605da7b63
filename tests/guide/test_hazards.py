"""Each step at which a hand reaches in, or something can move, shows its lines of safety.md."""

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from procedures.lib import checks
from rig import bench as benches
from rig.bench import Bench
from rig.calibration.nominal import nominal_load
from rig.guide import script as scripts
from rig.guide.hazards import LINES, OUT, SHORT
from rig.guide.parameters import read_all
from rig.guide.runner import Runner
from rig.guide.steps import Do, Read, Step, Strokes
from rig.logbook import Logbook
from rig.logbook.journal import STEP
from tests.calibration.driver import Driver
from tests.calibration.settings import BENCH, reading
from tests.calibration.test_angle import straight
from tests.calibration.test_procedures import Weighing
from tests.fixtures.pages import ROOT
from tests.guide.clumsy import PROCEDURES, Session
from tests.guide.edgeplay import Play
from tests.guide.jigs import TIPS, JigRig
from tests.guide.rigs import VirtualRig, impact, new_book, run
from tests.guide.test_cuts import FAST, carried
from tests.guide.test_hardness import TYPED

HAND_IN = ("mount", "feed", "take_out")


def lines(step: Step) -> set[str]:
    """Keys of the lines that a step shows."""
    return {key.removesuffix(OUT) for key in getattr(step, "hazards", ())}


def motor(fitted: bool) -> Bench:
    """The carried bench, its motor fitted or not."""
    bench = carried()
    drive = bench.frame.drive.model_copy(update={"fitted": fitted})
    return bench.model_copy(update={"frame": bench.frame.model_copy(update={"drive": drive})})


@pytest.mark.parametrize(
    ("fitted", "drive", "shown"),
    [
        (True, "motor", {"driven_blade"}),
        (True, "hand", {"driven_blade", "drawn_blade"}),
        (False, "hand", {"drawn_blade"}),
    ],
)
def test_no_hand_goes_into_the_cutting_frame_before_it_is_still(
    fitted: bool, drive: str, shown: set[str]
) -> None:
    play = Play(bench=motor(fitted))
    play.run(drive=drive, force="yes", control="C0", cuts_per_sheet="30", **FAST)
    began = next(n for n, step in enumerate(play.steps) if isinstance(step, Strokes))
    reached = [s for s in play.steps[began:] if isinstance(s, Do) and s.hand in HAND_IN]
    assert {step.hand for step in reached} == set(HAND_IN)
    for step in reached:
        assert "Carriage home, pin in, motor unplugged" in step.text
        assert shown | {"edge"} <= lines(step)
        if step.hand != "take_out":
            assert "Guard closed, pin out" in step.text
            assert ("motor plugged in last" in step.text) == (drive == "motor")


@pytest.mark.parametrize("fitted", [True, False])
@pytest.mark.parametrize("count", ["rig", "hand"])
def test_strokes_by_hand_on_a_frame_with_a_motor_begin_with_its_plug(
    fitted: bool, count: str
) -> None:
    play = Play(bench=motor(fitted))
    play.run(drive="hand", count=count, **FAST)
    made: list[Any] = [
        step
        for step in play.steps
        if isinstance(step, Strokes) or getattr(step, "hand", "") == "strokes"
    ]
    assert made
    for step in made:
        mounted = getattr(step, "by_itself", False)
        told = play.steps[play.steps.index(step) - 1].text if mounted else step.text
        assert ("otor unplugged" in told and "crank off" in told) == fitted
        assert ("driven_blade" in lines(step)) == fitted and "drawn_blade" in lines(step)


def test_the_switches_are_tried_by_hand_with_the_motor_unplugged() -> None:
    play = Play(bench=motor(True))
    play.run(drive="motor", **FAST)
    tried = next(step for step in play.steps if isinstance(step, Strokes))
    assert not tried.driven and {"driven_blade", "drawn_blade"} <= lines(tried)
    assert tried.text.startswith("Motor unplugged, crank off.")


def test_lowering_and_raising_the_carriage_show_what_can_fall(tmp_path: Path) -> None:
    rig = VirtualRig()
    with new_book(tmp_path) as book:
        operator = rig.operator()
        script, params = impact(drops="1")
        Runner(book, benches.load(None), rig.device, operator).start(script, params)
    falling, short = LINES["falling_mass"], SHORT["falling_mass" + OUT]
    raised = [n for n, text in enumerate(operator.log) if text.startswith("Raise the carriage to")]
    touched = [n for n, text in enumerate(operator.log) if "by the hand lever" in text]
    assert operator.log.count(falling) == 1, "whole once a run, at its first moment"
    assert raised and all(short in operator.log[n - 1].lower() for n in raised)
    assert touched and all(short in operator.log[n - 1].lower() for n in touched[1:])


class Watched(Weighing):
    """Readings of the jig's cell; keeps the steps."""

    def __init__(self) -> None:
        super().__init__()
        self.steps: list[Read] = []

    def __call__(self, step: Read) -> dict[str, Any]:
        self.steps.append(step)
        return super().__call__(step)


def test_every_weight_that_is_hung_or_taken_off_shows_its_line() -> None:
    watched = Watched()
    Driver(watched).run("calibrate_load")
    Driver(watched).drive(checks.check_load(BENCH, nominal_load(BENCH), False))  # type: ignore[arg-type]
    lifted = [step for step in watched.steps if step.hand in ("hang", "unhang")]
    assert len([step for step in lifted if step.trial == "check weight"]) == 1
    assert all("weights" in lines(step) for step in lifted)
    (waited,) = [step for step in watched.steps if step.trial == "creep end"]
    assert "weights" in lines(waited) and "kg hanging, pulling right" in waited.text


@pytest.mark.parametrize("procedure", ["pry_to_failure", "edge_twist"])
def test_pieces_are_looked_at_and_picked_up_under_their_lines(
    tmp_path: Path, procedure: str
) -> None:
    path, _ = JigRig(TIPS["snap"]).run(tmp_path, procedure)
    with Logbook.open(path, writable=False) as book:
        steps = [row.body["step"] for row in book.journal(kind=STEP)]
    opened = [step for step in steps if "shield open" in step["text"]]
    out = [step for step in steps if "blade out by its spine" in step["text"]]
    assert opened and all({"shards", "edge"} <= set(step["hazards"]) for step in (*opened, *out))
    looks = [n for n, step in enumerate(steps) if step.get("key") in ("tip", "damage")]
    assert looks and all(steps[n - 1] in opened for n in looks)
    assert out and "Gloves on" in out[-1]["text"]


def test_a_cone_on_a_hard_blade_shows_its_line_at_the_readings(tmp_path: Path) -> None:
    with new_book(tmp_path) as book:
        script = scripts.load("hardness")
        params = read_all(script.parameters, {"specimen": "K3"})
        run(book, VirtualRig(), script, params, answers=TYPED)
        steps = [row.body["step"] for row in book.journal(kind=STEP)]
    (seated,) = [step for step in steps if "it must not rock" in step["text"]]
    assert "hard_blade" in seated["hazards"]


def test_an_arm_held_against_its_stops_and_a_raised_carriage_show_their_lines() -> None:
    def played(procedure: str, mean: Callable[[Read], float]) -> list[Step]:
        steps: list[Step] = []

        def read(step: Read) -> dict[str, Any]:
            steps.append(step)
            return reading(mean(step))

        Driver(read).run(procedure)
        return steps

    at_stops = played(
        "calibrate_angle", lambda s: straight(math.radians(float(s.detail["angle_deg"])))
    )
    assert at_stops and all("trap" in lines(step) for step in at_stops)
    at_marks = played("calibrate_height", lambda s: float(s.detail["mark_m"]) / 1e-4)
    assert at_marks and all({"falling_mass", "pinch"} <= lines(step) for step in at_marks)


ACKNOWLEDGED = {
    "load": {"edge", "falling_mass"},
    "bare": {"falling_mass", "pinch"},
    "lower": {"falling_mass", "pinch"},
    "rule": {"falling_mass", "pinch"},
    "lift": {"falling_mass", "edge"},
    "hang": {"weights"},
    "unhang": {"weights"},
    "sweep": {"trap"},
    "stop": {"trap"},
    "clamp_blade": {"edge", "trap"},
    "seat": {"edge", "trap"},
    "set_edge": {"edge", "trap"},
    "pry": {"shards", "stored"},
    "twist": {"shards", "stored"},
    "mount": {"edge", "pinch"},
    "feed": {"edge", "pinch"},
    "take_out": {"edge", "probing"},
}
"""What hands do -> the lines that are acknowledged before it, as safety.md lists them."""


@pytest.mark.parametrize("procedure", PROCEDURES)
def test_what_safety_md_says_is_acknowledged_stands_above_each_of_these_steps(
    tmp_path: Path, procedure: str
) -> None:
    class Looked(Session):
        steps: list[dict[str, Any]]

        def _judge(self, book: Logbook) -> None:
            self.steps = [row.body["step"] for row in book.journal(kind=STEP)]

    session = Looked(3, tmp_path, care=1.0, procedure=procedure)
    session.run()
    for step in session.steps:
        wanted = ACKNOWLEDGED.get(step.get("hand", ""), set())
        shown = {key.removesuffix(OUT) for key in step.get("hazards", ())}
        assert wanted <= shown, step["text"]
        if "Close the guard" in step["text"]:
            assert {"falling_mass", "chips"} <= shown
        if "shield open" in step["text"]:
            assert {"shards", "stored", "edge"} <= shown


def test_safety_md_lists_what_is_acknowledged() -> None:
    listed = (ROOT / "safety.md").read_text(encoding="utf-8").split("before your hand does it:")[1]
    rows = [row for row in listed.split("## ")[0].splitlines() if row.startswith("| ")][1:]
    names = {LINES[key].partition(":")[0].lower().split()[0] for key in LINES}
    named = {word for row in rows for word in names if word in row.lower()}
    assert named == names, "every line of the guide has its moment in the table"
