"""Practice at the virtual arm, cut off, goes on in a new process: what was clamped is."""

from pathlib import Path

import pytest

from rig.errors import RigError
from rig.logbook import Logbook
from rig.virtual.arm.hands import JigHands
from rig.virtual.arm.plant import Jig
from rig.virtual.tower.deeds import Detail
from tests.cli.inside import typed_in

PRY = ["", "", "", "", "2.0 mm", "8 mm", "2 mm", *[""] * 8, "snapped", *[""] * 8]
TWIST = [*[""] * 6, *["none"] * 30]


@pytest.mark.parametrize("typed", [10, 11, 12, 13])
def test_a_pry_cut_off_with_its_tip_seated_goes_on_to_its_end(tmp_path: Path, typed: int) -> None:
    book = tmp_path / "b.logbook"
    first, rest = "\n".join(PRY[:typed]) + "\n", "\n".join(PRY[typed:]) + "\n"
    cut = typed_in("run", "pry_to_failure", book, "specimen=K3", "--virtual", typed=first)
    assert isinstance(cut.exception, RigError)
    on = typed_in("run", "pry_to_failure", book, "--resume", "--virtual", typed=rest)
    assert on.exception is None, on.output
    with Logbook.open(book, writable=False) as opened:
        (row,) = opened.journal(kind="verdict")
    assert "snap" in str(row.body)


@pytest.mark.parametrize("typed", [6, 7, 8])
def test_a_twist_cut_off_with_its_edge_set_goes_on(tmp_path: Path, typed: int) -> None:
    book = tmp_path / "b.logbook"
    first = "\n".join(TWIST[:typed]) + "\n"
    typed_in("run", "edge_twist", book, "specimen=K3", "--virtual", typed=first)
    on = typed_in(
        "run", "edge_twist", book, "--resume", "--virtual", typed="\n\n\n\n\n\n" + "none\n" * 30
    )
    assert on.exception is None or isinstance(on.exception, RigError), on.output
    with Logbook.open(book, writable=False) as opened:
        assert [one.measurand for one in opened.results()].count("twist") == 1


class Deed:
    """Something done before."""

    strokes = 0

    def __init__(self, hand: str, **detail: float | str) -> None:
        self.hand, self.detail = hand, detail


def test_only_what_holds_is_done_again() -> None:
    told: list[str] = []

    class Listening(JigHands):
        def act(self, hand: str, detail: Detail) -> float:
            told.append(hand)
            return super().act(hand, detail)

    hands = Listening(Jig())
    hands.recall([
        Deed("hang", mass_kg=1.0, side="right"), Deed("unhang"), Deed("sweep", to_deg=40.0),
        Deed("unload"), Deed("seat", specimen="K3", depth_m=6e-3), Deed("preload", torque_nm=0.1),
    ])  # fmt: skip
    assert told == ["seat", "preload"]
    hands.recall([Deed("seat", specimen="K4", depth_m=6e-3)])
    assert told == ["seat", "preload"], "hands that did something need no telling"
