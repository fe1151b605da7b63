"""Stand-in and firmware, given the same carriage and hands, count and drive the same."""

import random
from collections.abc import Callable

import pytest

from rig.board import wire
from rig.board.wire import DriveState, Kind, Op, Reason, Stroke
from rig.virtual.arm.plant import Jig
from rig.virtual.board.converter import Converter
from rig.virtual.board.standin import StandIn
from rig.virtual.tower.hands import Hands
from rig.virtual.tower.plant import Tower
from tests.conformance.test_agreement import Session, Told
from tests.emulator.build import build_image
from tests.emulator.emulator import EmulatedBoard
from tests.virtual.carriage import ScriptedCarriage
from tests.virtual.motions import BOUNCE_S, CHATTER_S, Motions, SwitchEdge

TOLERANCE_S = 0.004
Scene = Callable[[Session, ScriptedCarriage], None]


def motions(s: Session, carriage: ScriptedCarriage) -> None:
    made = Motions(random.Random(5), s.board.now_s + 0.1)
    for _ in range(40):
        made.any()
    made.both_closed()
    made.full()
    carriage.play(made.take())
    s.run(made.t_s - s.board.now_s + 0.1)
    assert [told.verdict for told in s.strokes] == [verdict for _, verdict in made.told]
    assert s.counts is not None and s.counts.counted == made.counted


def loaded_strokes(s: Session, carriage: ScriptedCarriage) -> None:
    s.ask(Op.STREAM, channel=Kind.LOAD, on=1)
    made = Motions(random.Random(6), s.board.now_s + 0.1, clean=True)
    for _ in range(5):
        made.full(0.6, 1.0)
    carriage.play(made.take())
    s.run(made.t_s - s.board.now_s + 0.1)
    s.ask(Op.STREAM, channel=Kind.LOAD, on=0)


def stuck_switches(s: Session, carriage: ScriptedCarriage) -> None:
    carriage.set("FAR", 0)
    s.run(5.5)
    carriage.set("NEAR", 1)
    carriage.set("FAR", 1, s.board.now_s + 0.3)
    carriage.set("FAR", 0, s.board.now_s + 0.6)
    s.run(1.0)


def start(s: Session, target: int = 1_000) -> None:
    s.ask(Op.DRIVE_PERMIT, nonce=s.ask(Op.DRIVE_ARM, target=target))
    s.until(s.hands.press_button(), 0.3)


def run_to_target(s: Session, carriage: ScriptedCarriage) -> None:
    start(s, 6)
    s.run(6.0)


def refusals(s: Session, carriage: ScriptedCarriage) -> None:
    s.ask(Op.DRIVE_PERMIT, nonce=5)
    s.ask(Op.DRIVE_ARM, target=0)
    s.ask(Op.STROKES, min_ms=9, max_ms=9)
    carriage.set("NEAR", 1)
    s.run(0.1)
    s.ask(Op.DRIVE_ARM, target=1)
    carriage.set("NEAR", 0)
    s.run(0.1)
    s.ask(Op.DRIVE_PERMIT, nonce=s.ask(Op.DRIVE_ARM, target=1) ^ 1)
    s.ask(Op.DRIVE_ARM, target=1)
    s.arm()
    s.ask(Op.DRIVE_STOP)
    s.arm()
    s.ask(Op.DRIVE_ARM, target=1)
    s.ask(Op.DISARM)


def arming_runs_out(s: Session, carriage: ScriptedCarriage) -> None:
    s.ask(Op.DRIVE_ARM, target=1)
    s.run(5.2)


def permit_runs_out(s: Session, carriage: ScriptedCarriage) -> None:
    s.ask(Op.DRIVE_PERMIT, nonce=s.ask(Op.DRIVE_ARM, target=1))
    s.run(10.2)


def guard_opened(s: Session, carriage: ScriptedCarriage) -> None:
    start(s)
    s.until(s.hands.open_guard(), 0.3)
    s.until(s.hands.close_guard(), 0.3)
    s.until(s.hands.press_button(), 0.5)


def e_stop(s: Session, carriage: ScriptedCarriage) -> None:
    start(s)
    s.until(s.hands.press_estop(), 0.3)
    s.ask(Op.DRIVE_ARM, target=1)


def silent_host(s: Session, carriage: ScriptedCarriage) -> None:
    start(s)
    s.silence(0.8)


def pressed_again(s: Session, carriage: ScriptedCarriage) -> None:
    start(s)
    s.until(s.hands.press_button(), 0.5)


def stopped_from_here(s: Session, carriage: ScriptedCarriage) -> None:
    start(s)
    s.run(2.0)
    s.ask(Op.DRIVE_STOP)


def system_reset(s: Session, carriage: ScriptedCarriage) -> None:
    s.ask(Op.STROKES, min_ms=2_000, max_ms=3_000)
    start(s)
    s.run(1.0)
    s.board.write(b"\xff")
    s.run(0.1)
    home = s.board.now_s + 0.1
    carriage.play([SwitchEdge(home, "FAR", 1), SwitchEdge(home + 0.1, "NEAR", 0)])
    made = Motions(random.Random(7), home + 0.4, clean=True)
    made.full()
    carriage.play(made.take())
    s.run(made.t_s - s.board.now_s + 0.1)


def jammed(s: Session, carriage: ScriptedCarriage) -> None:
    carriage.jammed = True
    start(s)
    carriage.set("NEAR", 1)
    s.run(5.5)


def not_turning(s: Session, carriage: ScriptedCarriage) -> None:
    carriage.jammed = True
    start(s)
    s.run(5.5)


# What a scene must contain at least, so that two silent boards do not agree.
SCENES: list[tuple[Scene, tuple[str, ...]]] = [
    (motions, ("STROKE", "BOTH_CLOSED", "36")),
    (loaded_strokes, ("STROKE", "COUNTED", "5")),
    (stuck_switches, ("STROKE", "STUCK", "0")),
    (run_to_target, ("DRIVE", "OFF", "TARGET")),
    (refusals, ("REPLY", "DRIVE_ARM", "OUTSIDE_WINDOW")),
    (arming_runs_out, ("DRIVE", "OFF", "ARM_EXPIRED")),
    (permit_runs_out, ("DRIVE", "OFF", "PERMIT_EXPIRED")),
    (guard_opened, ("DRIVE", "OFF", "GUARD_OPEN")),
    (e_stop, ("DRIVE", "OFF", "ESTOP_OPEN")),
    (silent_host, ("DRIVE", "OFF", "BEAT_LOST")),
    (pressed_again, ("DRIVE", "OFF", "STOPPED")),
    (stopped_from_here, ("DRIVE", "OFF", "HOST_DISARM")),
    (system_reset, ("DRIVE", "OFF", "HOST_DISARM")),
    (jammed, ("DRIVE", "OFF", "STALL")),
    (not_turning, ("DRIVE", "OFF", "SWITCH_FAULT")),
]


def played(scene: Scene, emulated: bool) -> Session:
    """What a board tells of a scene, played with everything at rest at home."""
    tower, jig = Tower(seed=2), Jig(seed=3)
    carriage = ScriptedCarriage(seed=3, clean=True)
    parts = {"jig": jig, "converter": Converter(jig, seed=4), "carriage": carriage}
    board: StandIn | EmulatedBoard = (
        EmulatedBoard(build_image(), tower, resonator_error=tower.nature.resonator, **parts)
        if emulated
        else StandIn(tower, **parts)
    )
    session = Session(board, Hands(tower, seed=4))
    session.run(1.3)
    session.told.clear()
    scene(session, carriage)
    return session


def by_kind(session: Session) -> list[Told]:
    """Between kinds the two may speak in another order within an instant."""
    return sorted(session.told, key=lambda told: told.what[0])


@pytest.mark.parametrize(("scene", "landmark"), SCENES)
def test_the_stand_in_counts_and_drives_as_the_firmware_does(
    scene: Scene, landmark: tuple[str, ...]
) -> None:
    firmware, twin = played(scene, emulated=True), played(scene, emulated=False)
    ours, its = by_kind(twin), by_kind(firmware)
    assert [told.what for told in ours] == [told.what for told in its]
    assert landmark in [told.what for told in its]
    # A contact that bounces has its level for good when a sample first sees it so.
    tolerance_s = BOUNCE_S + CHATTER_S if scene is motions else TOLERANCE_S
    for mine, board_s in zip(ours, its, strict=True):
        assert mine.time_s == pytest.approx(board_s.time_s, abs=tolerance_s), (mine, board_s)
    for one, other in zip(twin.strokes, firmware.strokes, strict=True):
        whole = one.out_ms + one.back_ms - other.out_ms - other.back_ms
        assert max(abs(one.out_ms - other.out_ms), abs(whole)) <= tolerance_s * 1e3
        assert abs(one.samples - other.samples) <= 1
        assert one.mean == pytest.approx(other.mean, abs=100), "noise of 39 codes each"


def test_the_scene_with_load_has_it_in_every_stroke() -> None:
    session = played(loaded_strokes, emulated=False)
    assert min(told.samples for told in session.strokes) > 45
    assert [told.verdict for told in session.strokes] == [Stroke.COUNTED] * 5


def test_a_stand_in_that_is_reset_stops_its_motor_and_nothing_starts_it_by_itself() -> None:
    for fault in ("reset", "unplugged", "hang"):
        tower, carriage = Tower(seed=2), ScriptedCarriage(seed=3)
        session = Session(StandIn(tower, carriage=carriage), Hands(tower, seed=4))
        session.run(0.8)
        start(session)
        session.run(2.0)
        assert session.counts is not None
        assert session.counts.drive is DriveState.RUNNING and session.counts.counted > 0
        board = session.board
        assert isinstance(board, StandIn)
        board.fault(fault)
        board.clock.sleep(0.4)
        assert [on for _, on, _ in carriage.seen][:2] == [True, False]
        if fault == "unplugged":
            board.fault(fault, 0)
        board.clock.sleep(1.0)
        board.read_available()
        board.write(wire.command(Op.BEAT, 1))
        board.clock.sleep(1.0)
        assert sum(on for _, on, _ in carriage.seen) == 1


def test_both_refuse_a_drive_to_an_unbeating_host() -> None:
    for emulated in (False, True):
        session = played(lambda s, c: s.silence(0.7), emulated)
        session.beating = False
        session.run(0.6)
        session.ask(Op.DRIVE_ARM, target=3)
        assert session.told[-1].what[-1] == Reason.BEAT_LOST.name
