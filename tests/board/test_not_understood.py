"""States and reasons that there are none of: one clear line, and no record passes for sound."""

import pytest

from rig.board.frames import Frame
from rig.board.link import Link, WrongFirmware
from rig.board.samples import capture
from rig.board.wire import Event, Kind, LoadFault, Output, Reason, State
from rig.virtual.board.standin import StandIn
from rig.virtual.tower.plant import Tower
from tests.board.streams import event, packed, status

NO_STATE = max(State) + 1
ODD = [(Event.STATE, NO_STATE), (Event.OUTPUT, max(Output) + 1), (Event.LOAD, max(LoadFault) + 1)]


@pytest.fixture
def link() -> Link:
    board = StandIn(Tower(seed=1), boot=1)
    return Link(board, clock=board.clock, name="rig")


@pytest.mark.parametrize(
    "frame",
    [
        Frame(Kind.STATUS, 0, 0, packed(Kind.STATUS, boot=1, state=NO_STATE)),
        Frame(Kind.EVENT, 0, 0, packed(Kind.EVENT, code=Event.STATE, value=NO_STATE)),
        Frame(Kind.EVENT, 0, 0, packed(Kind.EVENT, code=Event.DRIVE, extra=max(Reason) + 1)),
    ],
)
def test_an_unknown_state_or_reason_is_told_in_one_line_with_the_remedy(
    link: Link, frame: Frame
) -> None:
    with pytest.raises(WrongFirmware, match="does not know") as caught:
        link._frame(frame)
    assert "\n" not in str(caught.value)
    assert "bladerig board flash" in caught.value.remedy


def test_an_event_of_a_later_version_is_passed_over_by_the_line(link: Link) -> None:
    link._frame(Frame(Kind.EVENT, 0, 0, packed(Kind.EVENT, code=99)))


@pytest.mark.parametrize(("code", "value"), ODD)
def test_in_a_record_it_counts_as_damaged(code: Event, value: int) -> None:
    seen = capture(status(0, 0) + event(1, 0, code, value))
    assert (seen.events, seen.damaged) == ((), 1)
    assert capture(status(0, 0) + event(1, 0, code, 0)).damaged == 0
