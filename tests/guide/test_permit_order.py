"""Software only permits, and never before its intent is on the disk; Ctrl-C stops the motor."""

from pathlib import Path

import pytest

from rig.board.link import Link, Reply
from rig.board.wire import Op
from rig.logbook import Logbook
from tests.guide.framerig import FrameRig, one_stretch, play
from tests.guide.rigs import VirtualRig, impact, new_book, run


def rows_at(book: Logbook, wanted: Op, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Kind of the journal's last row each time the command leaves."""
    seen: list[str] = []
    command = Link.command

    def watched(link: Link, op: Op, **values: int) -> Reply:
        if op is wanted:
            seen.append([row.kind for row in book.journal()][-1])
        return command(link, op, **values)

    monkeypatch.setattr(Link, "command", watched)
    return seen


def test_no_permit_to_release_leaves_before_its_intent_is_journaled(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with new_book(tmp_path) as book:
        seen = rows_at(book, Op.PERMIT, monkeypatch)
        run(book, VirtualRig(), *impact(drops="1"))
    assert seen and set(seen) == {"permit"}


def test_no_permit_to_drive_leaves_before_its_intent_is_journaled(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with new_book(tmp_path) as book:
        seen = rows_at(book, Op.DRIVE_PERMIT, monkeypatch)
        play(book, FrameRig(), one_stretch(tmp_path, count=2, driven=True))
    assert seen == ["drive_permit"]


def test_after_ctrl_c_the_first_thing_the_board_is_told_is_to_stop_the_motor(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[Op] = []
    stopped = False
    command = Link.command

    def watched(link: Link, op: Op, **values: int) -> Reply:
        if stopped:
            told.append(op)
        return command(link, op, **values)

    def ctrl_c(_: FrameRig, text: str) -> None:
        nonlocal stopped
        if text.startswith("2 of") and not stopped:
            stopped = True
            raise KeyboardInterrupt

    monkeypatch.setattr(Link, "command", watched)
    with new_book(tmp_path) as book, pytest.raises(KeyboardInterrupt):
        play(book, FrameRig(live=ctrl_c), one_stretch(tmp_path, driven=True))
    assert told[:1] == [Op.DRIVE_STOP]
