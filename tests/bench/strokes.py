"""How well strokes are counted: contacts with all their faults, and hosts that die in between."""

import random
from itertools import islice
from typing import Any

from rig.board.link import Link
from rig.board.samples import capture
from rig.board.strokes import Counts
from rig.board.wire import TICK_HZ, Stroke
from tests.bench.figure import exactly, figure
from tests.emulator.build import build_image
from tests.emulator.emulator import EmulatedBoard
from tests.emulator.scripted import ScriptedTower
from tests.firmware.strokes import FirmwareStrokes
from tests.virtual.carriage import ScriptedCarriage
from tests.virtual.motions import BOUNCE_S, CHATTER_S, Motions

STROKES = 100_000
AT_THE_PINS = 1_000
KILLS = 200
CHUNK = 200  # motions played at once
BELIEVED_S = BOUNCE_S + CHATTER_S + 0.02  # after coming home, or before: a shaken switch is late

Miscounts = tuple[int, int, int]  # missed, false, full strokes made


def miscounts(told: list[Stroke], true: list[Stroke]) -> Miscounts:
    """Motions must be judged one by one: a missed stroke and a false one do not cancel out."""
    pairs = list(zip(told, true, strict=False))
    counted = Stroke.COUNTED
    missed = sum(told_ is not counted and true_ is counted for told_, true_ in pairs)
    false = sum(told_ is counted and true_ is not counted for told_, true_ in pairs)
    missed += sum(each is counted for each in islice(true, len(pairs), None))
    false += sum(each is counted for each in islice(told, len(pairs), None))
    return missed, false, true.count(counted)


def by_the_machine(strokes: int = STROKES, seed: int = 1) -> Miscounts:
    """The firmware's machine, compiled for the host, sampling the contacts each millisecond."""
    rng = random.Random(seed)
    motions, machine = Motions(rng, start_s=0.1), FirmwareStrokes(True, False)
    told: list[Stroke] = []
    begin_ms, closed, made = 0, {"NEAR": 1, "FAR": 0}, 0
    while made < strokes:
        for _ in range(CHUNK):
            motions.any()
        made = motions.counted
        end_ms = int(motions.t_s * 1e3)
        times, levels = [float(begin_ms)], [closed["NEAR"] | closed["FAR"] << 1]
        for edge in motions.take():
            closed[edge.pin] = 1 - edge.level
            times.append(edge.t_s * 1e3)
            levels.append(closed["NEAR"] | closed["FAR"] << 1)
        told += [each.verdict for each in machine.play(times, levels, begin_ms, end_ms)]
        begin_ms = end_ms
    return miscounts(told, [verdict for _, verdict in motions.told])


def at_the_pins(strokes: int = AT_THE_PINS, seed: int = 2) -> Miscounts:
    """The whole image at its pins; verdicts from its frames, and its totals beside them."""
    carriage = ScriptedCarriage()
    board = EmulatedBoard(build_image(), ScriptedTower(), carriage=carriage)
    link = Link(board, clock=board.clock, name="emulated board")
    motions = Motions(random.Random(seed), board.now_s + 0.1)
    link.start_record()
    while motions.counted < strokes:
        for _ in range(CHUNK):
            motions.any()
        carriage.play(motions.take())
        link.wait(motions.t_s - board.now_s)
    link.wait(0.6)
    seen = [told.verdict for told in capture(link.stop_record()).strokes]
    missed, false, made = miscounts(seen, [verdict for _, verdict in motions.told])
    total = link.counts.counted if link.counts is not None else 0
    return missed + max(0, made - total), false + max(0, total - made), made


def off_after_kills(kills: int = KILLS, seed: int = 3) -> tuple[int, int]:
    """Strokes by which the hosts were off at most, whenever one began, and the strokes made.

    Each host dies in the midst of things and is not heard of for a while (its line does not reset
    the board); the next one goes on from the totals that the first saw when it began.
    """
    rng = random.Random(seed)
    carriage = ScriptedCarriage()
    board = EmulatedBoard(build_image(), ScriptedTower(), carriage=carriage)
    link = _host(board)
    first = _totals(link)
    _kill(link)
    motions = Motions(rng, board.now_s + 0.1)
    while motions.t_s < 2.6 * kills:
        motions.any()
    carriage.play(motions.take())
    worst = 0
    for _ in range(kills):
        link = _host(board)
        worst = max(worst, _off(_totals(link), first.counted, motions))
        link.wait(rng.uniform(0.0, 1.2))
        _kill(link)
        board.run(board.now_s + rng.uniform(0.05, 1.0))
        if rng.random() < 0.5:  # the port's buffer overran, or was thrown away
            board.read_available()
    link = _host(board)
    link.wait(max(0.0, motions.t_s - board.now_s) + 1.0)
    return max(worst, abs(_totals(link).counted - first.counted - motions.counted)), motions.counted


def _host(board: EmulatedBoard) -> Link:
    return Link(board, clock=board.clock, name="emulated board")


def _kill(link: Link) -> None:
    """No last words, as a process that is killed."""
    link._open = False


def _totals(link: Link) -> Counts:
    """Totals told from now on, not those of an old buffer."""
    link.counts = None
    link.wait_until(lambda: link.counts is not None, 1.0)
    assert link.counts is not None
    return link.counts


def _off(told: Counts, base: int, motions: Motions) -> int:
    """Strokes missing or too many, by the time of the totals; one that comes home now may be in."""
    now_s = told.ticks / TICK_HZ
    homes = [t_s for t_s, verdict in motions.told if verdict is Stroke.COUNTED]
    least = sum(t_s + BELIEVED_S <= now_s for t_s in homes)
    most = sum(t_s - BELIEVED_S <= now_s for t_s in homes)
    count = told.counted - base
    return max(0, least - count, count - most)


def figures() -> list[dict[str, Any]]:
    """Miscounts by the machine and at the pins, and what kills of the host cost."""
    missed, false, made = by_the_machine()
    missed_pins, false_pins, made_pins = at_the_pins()
    off, made_meanwhile = off_after_kills()
    contacts = "with bounce, chatter, spikes, partials and hesitation"
    return [
        figure(f"full strokes {contacts}, by the firmware's machine", made, "strokes",
               f">= {STROKES}", made >= STROKES),
        exactly("of these missed", missed, "strokes", 0),
        exactly("counted falsely meanwhile", false, "strokes", 0),
        figure(f"full strokes {contacts}, at the pins of the emulated firmware", made_pins,
               "strokes", f">= {AT_THE_PINS}", made_pins >= AT_THE_PINS),
        exactly("of these missed", missed_pins, "strokes", 0),
        exactly("counted falsely meanwhile", false_pins, "strokes", 0),
        exactly(f"strokes a host was off at most after any of {KILLS} kills amid "
                f"{made_meanwhile} strokes", off, "strokes", 0),
    ]  # fmt: skip
