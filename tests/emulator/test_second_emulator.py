"""A second emulator agrees with the first in all that it can hold of this part."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from rig.board import wire
from rig.board.link import Link
from rig.board.streams import SystemClock
from rig.board.wire import Kind, Op, Reason
from tests.emulator.second import PATIENCE_S, SecondEmulator


@pytest.fixture
def link(tmp_path: Path) -> Iterator[Link]:
    with SecondEmulator(tmp_path) as machine:
        yield Link(machine, clock=SystemClock(), name="second", time_limit_s=PATIENCE_S)


def test_the_image_greets_takes_commands_and_keeps_time_on_a_second_emulator(link: Link) -> None:
    assert link.hello is not None and link.firmware == wire.FIRMWARE_NAME
    assert link.hello.firmware == wire.FIRMWARE_VERSION
    assert link.command(Op.HELLO).done
    assert link.command(Op.STREAM, channel=Kind.HEIGHT, on=1).done
    # Without its tick no height is known: the interlock must refuse, and a stale number too.
    refused = link.command(Op.ARM, low=0, high=100)
    assert Reason.NOT_STEADY in refused.unmet() and not refused.done
    assert link.command(Op.PERMIT, nonce=1).reason is Reason.NOT_ARMED
    assert link.wait_until(lambda: len(link.exchanges) >= 10, PATIENCE_S)
    ticks = [exchange.ticks for exchange in link.exchanges]
    assert ticks == sorted(ticks) and ticks[-1] > ticks[0]
    assert (link.decoder.damaged, link.decoder.gaps, link.decoder.resets) == (0, [], 0)


def test_a_damaged_command_is_not_carried_out_on_it(link: Link) -> None:
    sound = wire.command(Op.HELLO, 9)
    hurt = bytes([*sound[:4], sound[4] ^ 1, *sound[5:]])
    link.sp.write(hurt)
    link._replies.clear()
    assert link.command(Op.HELLO).done  # answered after it
    assert 9 not in link._replies
