"""The board's clock against the host's, as a recording keeps it."""

from typing import Any

from rig.board.link import Link
from rig.calibration import timebase

EXCHANGES_USED = 3_000


def time_base(link: Link) -> dict[str, Any]:
    """True seconds for each second of the board, by the newest heartbeats, with u and source."""
    used = link.exchanges[-EXCHANGES_USED:]
    base = timebase.regress(
        [e.sent_s for e in used],
        [e.received_s for e in used],
        timebase.unwrap_ticks([e.ticks for e in used]),
    )
    return {"factor": base.factor, "u": base.u, "source": base.source}
