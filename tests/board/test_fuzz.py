"""A tenth of a million random and mutated bytes; the bench does a hundred times as many."""

import random

import pytest

from rig.board.frames import Frame, Message
from rig.board.link import Link, LinkError
from rig.virtual.board.standin import StandIn
from rig.virtual.tower.plant import Tower
from tests.bench import fuzz

TOTAL = 100_000


def test_no_noise_crashes_the_decoder_or_passes_as_a_sample() -> None:
    heard = fuzz.into_decoder(TOTAL)
    assert heard.bad_bytes >= TOTAL
    assert (heard.crashes, heard.wrong_samples) == (0, 0)
    assert heard.blocks > 500  # whole frames between the noise still come through
    assert heard.damaged > 500


def test_a_sample_that_was_not_sent_would_be_counted() -> None:
    sent = fuzz.Sent(random.Random(1))
    frames = [item for _ in range(3) for item in fuzz.Decoder().feed(sent.frame())]
    block = frames[1]
    assert isinstance(block, Frame)
    assert fuzz._wrong_samples(block, sent.blocks) == 0
    moved = Frame(block.kind, block.seq, block.ticks + 1, block.payload)
    changed = Frame(block.kind, block.seq, block.ticks, block.payload[:-1] + b"\x01")
    assert fuzz._wrong_samples(moved, sent.blocks) == 10
    assert fuzz._wrong_samples(changed, sent.blocks) == 10


@pytest.mark.parametrize("seed", range(5))
def test_no_noise_on_the_line_crashes_a_link(seed: int) -> None:
    rng = random.Random(seed)
    board = StandIn(Tower())
    link = Link(board, clock=board.clock, name="noisy board")
    for piece, _ in zip(fuzz._line(fuzz.Sent(rng), rng), range(500), strict=False):
        # Straight into the decoder: the stand-in's own frames would be refused beside these.
        for item in link.decoder.feed(piece[0]):
            if isinstance(item, Message):
                link._message(item)
            else:
                _taken(link, item)


def _taken(link: Link, frame: Frame) -> None:
    """A frame may end the link, in words for a person; it may not crash it."""
    try:
        link._frame(frame)
    except LinkError as error:
        assert error.remedy
