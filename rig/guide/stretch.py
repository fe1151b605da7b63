"""One stretch of strokes under way: what the board counted, kept in the journal as it goes."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from rig.board.link import Link
from rig.errors import RigError
from rig.guide.device import Device
from rig.guide.operator import GO_ON, Operator
from rig.guide.steps import Strokes
from rig.guide.tally import COUNTED, PAUSE, REJECTS, ROW, WORDS, Tally, told
from rig.logbook.store import Logbook

TALLY = "strokes"
HOME_LIMIT_S = 300.0
WIDTH = 20
RESTARTED, SAID, COUNT = "RESTARTED", "SAID", "COUNT"

_AT_HOME = {
    (False, False): "neither switch is closed: push the carriage home; if it is, the near switch "
    "or its wire is broken",
    (False, True): "the far switch is closed, not the near one: push the carriage home; if it is, "
    "near and far are swapped: change their wires over",
    (True, True): "both switches are closed: one is stuck, or their wires touch",
}
_MEND = {
    "partial": "draw to the very end; if you did, the far switch does not close: look at it and "
    "its wire",
    "too_fast": "draw slower",
    "too_slow": "draw without stopping",
    "both_closed": "a switch is stuck or the wires touch: look at both",
    "wrong_order": "near and far may be swapped, or the near switch does not close: look at both",
    "stuck": "a switch does not open: look at both",
}


@dataclass
class Stretch:
    """The count of one Strokes step.

    Attributes:
        tally: what is counted so far.
    """

    book: Logbook
    run_id: int
    index: int
    device: Device
    operator: Operator
    step: Strokes
    tally: Tally
    _row: int = 0  # rejected in a row

    @property
    def link(self) -> Link:
        """The line as it is now."""
        return self.device.link

    @property
    def left(self) -> int:
        """Strokes still to be made."""
        return max(0, self.step.count - self.tally.counted)

    @property
    def restarted(self) -> bool:
        """The board that counted is not there any more."""
        return self.link.boot != self.tally.boot

    def write(self) -> None:
        """Put the tally in the journal."""
        body: dict[str, Any] = {"index": self.index, "tally": self.tally.to_dict()}
        self.book.append(TALLY, body, self.run_id)

    def take(self) -> None:
        """The board's newest totals; a change is journaled before it is shown."""
        if self.restarted or self.link.counts is None:
            return
        newer = self.tally.seen(totals(self.link))
        if newer != self.tally:
            before, self.tally = self.tally.strokes, newer
            self.write()
            self._tell(before)
        self.operator.live(self.line())

    def _tell(self, before: dict[str, int]) -> None:
        more = {key: n - before[key] for key, n in self.tally.strokes.items() if n > before[key]}
        rejected = {key: more[key] for key in REJECTS if key in more}
        self._row = 0 if COUNTED in more else self._row + sum(rejected.values())
        if rejected:
            self.operator.tell(f"Not counted: {told(rejected)}.")
        if self._row >= ROW:
            worst = max(rejected, key=lambda key: rejected[key])
            raise RigError(
                f"{self._row} strokes in a row were not counted: {WORDS[worst]}",
                where="switches",
                remedy=f"{_MEND[worst]}; {GO_ON}",
            )

    def line(self) -> str:
        """Progress in one line."""
        counted, wanted = self.tally.counted, self.step.count
        done = min(WIDTH, WIDTH * counted // max(wanted, 1))
        text = f"{counted} of {wanted} cuts [{'#' * done}{'.' * (WIDTH - done)}]"
        if self.tally.rejected:
            text += f"  not counted: {told(self.tally.rejected)}"
        return f"{text}  (type {PAUSE} and Enter for a break)"

    def require_home(self) -> None:
        """Wait until the carriage stands at its near switch, and only there.

        Raises:
            RigError: it did not within five minutes, and what its switches say.
        """
        shown: list[str] = []
        told = self.link.counts
        if told is None or not told.near:
            self.device.act("home")

        def home() -> bool:
            told = self.link.counts
            if self.restarted or (told is not None and told.near and not told.far):
                return True
            switches = (told.near, told.far) if told is not None else (False, False)
            if _AT_HOME[switches] not in shown:
                shown.append(_AT_HOME[switches])
                self.operator.tell(f"Not ready: {shown[-1]}.")
            return False

        if not self.link.wait_until(home, HOME_LIMIT_S):
            raise RigError(
                f"the carriage was not home within {HOME_LIMIT_S:.0f} s: {shown[-1]}",
                where="switches",
                remedy=f"put it right, {GO_ON}",
            )

    def serve_until(
        self, test: Callable[[], str], again_s: Callable[[], float] | None = None
    ) -> str:
        """Serve the line until the test gives a word, and give that; `again_s` as `wait_until`."""
        found = ""

        def ended() -> bool:
            nonlocal found
            found = test()
            return bool(found)

        self.device.until(ended)
        return found

    def why_now(self) -> str:
        """Take what came; why the stretch ends here, "" when it goes on."""
        self.take()
        if self.restarted:
            return RESTARTED
        return COUNT if not self.left else SAID if self.operator.typed(PAUSE) else ""


def totals(link: Link) -> dict[str, int]:
    """The board's totals as last told."""
    assert link.counts is not None  # waited for before a stretch begins
    return {key: getattr(link.counts, key) for key in (COUNTED, *REJECTS)}
