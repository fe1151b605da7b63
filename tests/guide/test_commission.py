"""The first power-up on the stand-in and on the real image, and rigs that are not in order."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from procedures import commission
from rig import bench as benches
from rig.bench import Bench
from rig.board.link import Link
from rig.board.wire import DriveState, Kind
from rig.errors import RigError
from rig.guide import script as scripts
from rig.guide.device import Device
from rig.guide.operator import ScriptedOperator
from rig.guide.parameters import read_all
from rig.guide.runner import Runner
from rig.guide.tryout import NO
from rig.logbook import Logbook
from rig.logbook.audit import audit
from rig.virtual.arm.plant import Jig
from rig.virtual.board.converter import Converter
from rig.virtual.board.standin import StandIn
from rig.virtual.frame.plant import CuttingFrame, FrameTruth
from rig.virtual.person import Person
from rig.virtual.tower.plant import Tower
from tests.guide.jigs import as_stated
from tests.guide.rigs import new_book

ANSWERS = {"saw": ["yes"], "operator": ["AB"]}
PATIENCE_S = 2.0
MakeBoard = Callable[..., Any]


def stand_in(tower: Tower, **wired: Any) -> StandIn:
    """The board in Python."""
    return StandIn(tower, boot=7, seed=3, **wired)


def motored() -> Bench:
    """The design with its motor fitted."""
    bench = benches.load(None)
    drive = bench.frame.drive.model_copy(update={"fitted": True})
    return bench.model_copy(update={"frame": bench.frame.model_copy(update={"drive": drive})})


class Asked(ScriptedOperator):
    """Says `no` when nothing came for a while; `at` does something when a text is called out."""

    def __init__(self, now: Callable[[], float], at: dict[str, Callable[[], None]]) -> None:
        super().__init__(ANSWERS)
        self.now, self.at, self._since = now, at, 0.0

    def call(self, text: str) -> None:
        self._since = self.now()
        super().call(text)
        for words, act in self.at.items():
            if words in text:
                act()

    def typed(self, word: str) -> bool:
        return word == NO and self.now() - self._since > PATIENCE_S


class Rig:
    """Tower, arm and frame on one board; `deaf` are words that the hands do not carry out."""

    def __init__(self, make: MakeBoard = stand_in, deaf: tuple[str, ...] = ()) -> None:
        self.tower = Tower(seed=3)
        jig = Jig(as_stated(benches.load(None)), seed=3)
        frame = CuttingFrame(FrameTruth(turn_s=1.0), 3)
        self.board = make(self.tower, jig=jig, converter=Converter(jig, 3), carriage=frame)
        self.person = Person(self.tower, 3, jig, frame=frame)
        self.deaf = deaf
        self.at: dict[str, Callable[[], None]] = {}
        self.device = Device(self.connect(), self.connect, self, "virtual")

    def act(self, hand: str, detail: Any) -> float:
        word = f"{hand} {detail.get('to', '')}".strip()
        return 0.0 if word in self.deaf else self.person.act(hand, detail)

    def connect(self) -> Link:
        self.board.reopen()
        link = Link(self.board, clock=self.board.clock, name="rig")
        link.stream(Kind.HEIGHT, True)
        return link

    def run(self, book: Logbook, fixtures: str = "tower, arm, frame") -> dict[str, Any]:
        script = scripts.load("commission")
        operator = Asked(self.device.link.clock.now, self.at)
        params = read_all(script.parameters, {"fixtures": fixtures})
        _, told = Runner(book, motored(), self.device, operator).start(script, params)
        return dict(told)


def test_a_rig_in_order_is_commissioned_and_everything_was_switched_on_once(
    tmp_path: Path,
) -> None:
    commissioned(tmp_path, stand_in)


def commissioned(tmp_path: Path, make: MakeBoard) -> None:
    """All of it, on a board of that make."""
    with new_book(tmp_path) as book:
        told = Rig(make).run(book)
        assert told["wrong"] == {} and told["commissioned"]
        outcomes = [
            row.body["outcome"] for row in book.journal(kind="step")
            if row.body["step"]["step"] == "Dry"
        ]  # fmt: skip
        path = book.path
    energised = [one["on"] for one in outcomes]
    assert energised == [[], ["CATCH", "LATCH"], [], [], [], *[["DRIVE"]] * 4]
    assert [one["ended"] for one in outcomes] == [
        "BEAT_LOST", "NO_RELEASE", "GUARD_OPEN", "ESTOP_OPEN", "PERMIT_EXPIRED",
        "STOPPED", "GUARD_OPEN", "ESTOP_OPEN", "BEAT_LOST",
    ]  # fmt: skip
    assert all(one["off_ms"] <= 1.0 for one in outcomes if one["off_ms"] is not None)
    assert not audit(path)


@pytest.mark.parametrize(
    ("deaf", "wrong", "goes_on"),
    [
        ("guard open", "opening the tower's guard", False),
        ("guard closed", "guards closed", False),
        ("estop pressed", "e-stop, opening", False),
        ("button up", "button up", False),
        ("button down", "button pressed", False),
        ("card in", "light gate, there", True),
        ("push", "load cell, there", True),
        ("far", "far switch, there", True),
    ],
)
def test_a_contact_or_sensor_that_tells_nothing_is_named(
    tmp_path: Path, deaf: str, wrong: str, goes_on: bool
) -> None:
    rig = Rig(deaf=(deaf,))
    with new_book(tmp_path) as book:
        rig.device.act("guard", {"to": "closed" if deaf == "guard open" else "open"})
        told = rig.run(book)
        noted = [row.body for row in book.journal(kind="commissioned")]
    assert next(iter(told["wrong"])) == wrong and not told["commissioned"]
    assert noted[-1]["whole"] == goes_on
    powered = [truth for truth in ("LATCH", "CATCH") if rig.tower._commands[truth]]
    assert not powered


@pytest.mark.parametrize("fault", ["encoder_backwards", "encoder_unplugged"])
def test_an_encoder_that_counts_the_wrong_way_or_not_at_all_is_named(
    tmp_path: Path, fault: str
) -> None:
    rig = Rig()
    rig.tower.fault(fault)
    with new_book(tmp_path) as book:
        told = rig.run(book, "tower")
    assert "encoder, there" in told["wrong"]
    assert "swap encoder A and B" in told["wrong"]["encoder, there"]


def test_a_board_that_arms_with_the_guard_open_ends_it_at_once(tmp_path: Path) -> None:
    rig = Rig()
    rig.board._twin._safety.interlock._failing = lambda *_: iter(())
    with new_book(tmp_path) as book:
        told = rig.run(book, "tower")
    (name,) = told["wrong"]
    assert name == "refuses a height where the carriage is not"
    assert "armed all the same" in told["wrong"][name]


def test_ctrl_c_while_the_motor_runs_stops_it_and_the_run_goes_on_where_it_was(
    tmp_path: Path,
) -> None:
    rig = Rig()

    def ctrl_c() -> None:
        raise KeyboardInterrupt

    rig.at["PRESS AGAIN"] = ctrl_c
    with new_book(tmp_path) as book:
        with pytest.raises(KeyboardInterrupt):
            rig.run(book)
        counts = rig.device.link.counts
        rig.device.link.wait(0.6)
        counts = rig.device.link.counts
        assert counts is not None and counts.drive is DriveState.OFF
        rig.at.clear()
        run = book.unfinished_runs()[-1]
        operator = Asked(rig.device.link.clock.now, {})
        told = Runner(book, motored(), rig.device, operator).resume(
            run.run_id, scripts.load("commission")
        )
        assert told["wrong"] == {}
        assert any("12 V plug out" in line for line in operator.log), "what to make safe first"


TOLD = {"refused": [], "on": ["CATCH", "LATCH"], "ended": "NO_RELEASE", "lead_ms": 60.0,
        "off_ms": None}  # fmt: skip


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({}, ""),
        ({"refused": ["NOT_STEADY"]}, "not permitted"),
        ({"on": ["LATCH"]}, "LATCH was energised"),
        ({"on": []}, "nothing was energised"),
        ({"ended": "PERMIT_EXPIRED"}, "it ended by PERMIT_EXPIRED"),
        ({"ended": ""}, "nothing that the board told"),
        ({"lead_ms": 10.0}, "60 ms are meant"),
        ({"off_ms": 40.0}, "off only 40 ms after"),
    ],
)
def test_what_a_dry_run_shows_is_judged(changed: dict[str, Any], says: str) -> None:
    trouble = commission._trouble({**TOLD, **changed}, "NO_RELEASE", ["CATCH", "LATCH"])
    assert says in trouble and bool(trouble) == bool(changed)


@pytest.mark.parametrize("given", ["lathe", "tower, lathe", ""])
def test_a_fixture_that_there_is_none_of_is_refused(given: str) -> None:
    script = scripts.load("commission")
    with pytest.raises(RigError, match="fixture"):
        script.check(read_all(script.parameters, {"fixtures": given}), motored())
