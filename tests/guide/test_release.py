"""Between permit and rest: what is shown, how long it waits, when it says to make ready."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from rig import bench as benches
from rig.board.samples import capture
from rig.board.wire import LIMITS, TICK_HZ, Kind, Output, Reason, State
from rig.errors import RigError
from rig.guide.operator import ScriptedOperator
from rig.guide.release import SETTLE_S, Releaser, _down
from rig.guide.runner import Runner
from rig.guide.safe import require_off
from rig.guide.steps import Outcome, Release
from rig.logbook import Logbook
from tests.guide.rigs import ANSWERS, VirtualRig, impact, new_book

PERMIT_S, FLIGHT_S = LIMITS["PERMIT_LIMIT_MS"] / 1e3, LIMITS["FLIGHT_LIMIT_MS"] / 1e3


class Looking(ScriptedOperator):
    """Keeps the live lines, and acts when something is called out or told."""

    def __init__(self, at: Callable[[str], None]) -> None:
        super().__init__({**ANSWERS, "fell": ["no"]}, at)
        self.shown: list[str] = []

    def live(self, text: str) -> None:
        self.shown.append(text)


def run(book: Logbook, rig: VirtualRig, operator: ScriptedOperator) -> None:
    Runner(book, benches.load(None), rig.device, operator).start(*impact())


def releases(book: Logbook) -> list[Outcome]:
    rows = [row.body for row in book.journal(kind="step")]
    return [row["outcome"] for row in rows if row["step"]["step"] == "Release"]


def test_a_carriage_that_was_let_down_before_the_permit_was_not_released(tmp_path: Path) -> None:
    rig = VirtualRig()
    hands = rig.device.hands
    assert hands is not None
    once: list[int] = []

    def down(text: str) -> None:
        if text.startswith("K3 drop 1: wait") and not once:
            once.append(1)
            rig.device.link.wait(hands.act("lower", {}) + 0.2)

    with new_book(tmp_path) as book:
        run(book, rig, Looking(down))
        ends = [(r["ended"], r["released"], r["raw_id"]) for r in releases(book)]
    assert ("DOWN", False, None) in ends


def test_the_permit_is_counted_down_from_its_limit_and_never_below_nothing(tmp_path: Path) -> None:
    rig = VirtualRig()
    hands = rig.device.hands
    assert hands is not None
    act, missed = hands.act, list[int]()

    def lazy(hand: str, detail: object) -> float:
        if hand == "press" and not missed:
            missed.append(1)
            return 0.0
        return act(hand, detail)  # type: ignore[arg-type]

    hands.act = lazy  # type: ignore[method-assign]
    operator = Looking(lambda _: None)
    with new_book(tmp_path) as book:
        run(book, rig, operator)
    left = [int(found[1]) for line in operator.shown
            if (found := re.search(r"release button \((\d+) s\)", line))]  # fmt: skip
    first = left[: left.index(0) + 1]
    assert first == sorted(first, reverse=True) and first[0] == round(PERMIT_S)
    assert set(first) == set(range(round(PERMIT_S) + 1)) and min(left) == 0


def test_an_end_that_is_never_told_is_waited_for_as_long_as_a_permit_and_a_flight_take(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rig, waited = VirtualRig(), list[float]()
    watched = Releaser._watch_fall

    def timed(self: Releaser) -> bytes | None:
        began = self.device.link.clock.now()
        raw = watched(self)
        waited.append(self.device.link.clock.now() - began)
        return raw

    monkeypatch.setattr(Releaser, "_watch_fall", timed)
    monkeypatch.setattr(Releaser, "_ended", lambda self: None)
    with new_book(tmp_path) as book, pytest.raises(Exception, match="empty drops"):
        run(book, rig, Looking(lambda _: None))
    longest = PERMIT_S + FLIGHT_S + 2 + 1
    assert all(PERMIT_S + FLIGHT_S <= each <= longest for each in waited)


def test_a_fall_is_recorded_until_the_carriage_has_lain_still(tmp_path: Path) -> None:
    rig = VirtualRig()
    with new_book(tmp_path) as book:
        run(book, rig, Looking(lambda _: None))
        raws = [book.raw(r["raw_id"])[0] for r in releases(book) if r["raw_id"]]
    for raw in raws:
        heights = capture(raw)[Kind.HEIGHT]
        off = abs(heights.values - heights.values[-1]) > 1
        still_s = (heights.ticks[-1] - heights.ticks[off][-1]) / TICK_HZ
        assert SETTLE_S - 0.05 <= still_s <= SETTLE_S + 0.25


@pytest.mark.parametrize(
    ("reason", "state", "asks"),
    [
        (Reason.GUARD_OPEN, State.HELD, True),
        (Reason.ESTOP_OPEN, State.HELD, True),
        (Reason.TRIPPED, State.TRIPPED, True),
        (Reason.BEAT_LOST, State.TRIPPED, True),
        (Reason.OUTSIDE_WINDOW, State.HELD, False),
        (Reason.PERMIT_EXPIRED, State.HELD, False),
    ],
)
def test_only_an_open_loop_or_a_trip_asks_to_make_ready(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, reason: Reason, state: State, asks: bool
) -> None:
    asked: list[str] = []
    monkeypatch.setattr(
        "rig.guide.release.make_ready", lambda device, operator, text: asked.append(text)
    )
    rig = VirtualRig()
    with new_book(tmp_path) as book:
        releaser = Releaser(book, 1, rig.device, Looking(lambda _: None))
        monkeypatch.setattr(rig.device.link, "wait", lambda seconds: None)
        rig.device.link.status = {"state": state}
        releaser._put_right(reason)
    assert bool(asked) is asks


@pytest.mark.parametrize(
    ("position", "zero", "down"),
    [(None, 100.0, False), (100, None, False), (110, 100.0, True), (1090, 100.0, False)],
)
def test_a_carriage_is_down_only_where_height_and_contact_are_known(
    position: int | None, zero: float | None, down: bool
) -> None:
    step = Release("", trial="t", low_counts=1080, high_counts=1100, boot=1, zero_counts=zero)
    assert _down(position, step) is down


@pytest.mark.parametrize(("outputs", "state", "on"), [
    (1 << Output.LATCH, State.HELD, "latch"),
    (1 << Output.CATCH | 1 << Output.LATCH, State.TRIPPED, "latch and catch"),
    (1 << Output.LAMP, State.HELD, ""),
    (1 << Output.LATCH, State.RELEASING, ""),
    (0, State.HELD, ""),
])  # fmt: skip
def test_an_output_that_nobody_permitted_stops_the_run_with_the_plug_out(
    monkeypatch: pytest.MonkeyPatch, outputs: int, state: State, on: str
) -> None:
    rig = VirtualRig()
    link = rig.device.link
    monkeypatch.setattr(link, "wait", lambda seconds: None)
    link.status = {**link.status, "outputs": outputs, "state": state}
    if not on:
        require_off(rig.device)
        return
    with pytest.raises(RigError, match=f"energises the {on} though.*12 V plug out NOW"):
        require_off(rig.device)
