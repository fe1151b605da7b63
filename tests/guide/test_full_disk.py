"""SQLite's own word for a full disk, in mid-run: the run stops, and goes on with space again."""

from pathlib import Path

import pytest

from rig.board.wire import State
from rig.errors import RigError
from rig.logbook import Logbook
from rig.logbook.audit import audit
from tests.guide.rigs import VirtualRig, impact, new_book, run
from tests.guide.test_resume import resumed


@pytest.mark.parametrize("text", ["5 empty drops", "empty drop 3", "Drop 1:", "K3 drop 1: wait"])
def test_a_disk_full_in_mid_run_is_named_and_the_run_goes_on(tmp_path: Path, text: str) -> None:
    def fill(rig: VirtualRig, shown: str) -> None:
        if shown.startswith(text):
            connection = book._session.connection
            (pages,) = connection.execute("PRAGMA page_count").fetchone()
            connection.execute(f"PRAGMA max_page_count = {pages}")

    rig = VirtualRig(boot=1, hook=fill)
    with new_book(tmp_path) as book:
        with pytest.raises(RigError, match="the disk is full") as told:
            run(book, rig, *impact())
        path = book.path
    assert "\n" not in str(told.value) and "nothing stored before is lost" in str(told.value)
    rig.device.link.wait(0.3)
    assert rig.device.link.status["state"] == State.HELD, "disarmed"
    assert audit(path) == []
    with Logbook.open(path, writable=False) as full:
        before = [row.body for row in full.journal(kind="step")]
    resumed(path, VirtualRig(boot=2))
    with Logbook.open(path, writable=False) as again:
        assert [row.body for row in again.journal(kind="step")][: len(before)] == before
        assert not again.unfinished_runs()
    assert audit(path) == []
