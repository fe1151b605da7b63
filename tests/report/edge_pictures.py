"""Draw the picture of the cuts page anew: `python -m tests.report.edge_pictures`.

A virtual blade, probed, judged and drawn as a real one is.
"""

import base64

from rig.report.cutting import EDGE_LIFE
from tests.cli.commands import ROOT
from tests.guide.edgeplay import Play
from tests.guide.test_cuts import FAST, carried
from tests.report.test_cutting import trial_of

TARGET = ROOT / "procedures" / "cuts_to_dull.svg"


def picture() -> bytes:
    """The page's own picture of one test, as SVG."""
    play = Play(bench=carried())
    told = play.run(probe="shave,force", force_limit="1.0 N", force="yes", drive="hand",
                    cuts_per_sheet="30", control="C0", **FAST)  # fmt: skip
    drawn = EDGE_LIFE.picture(trial_of(play, told, "edge_life"))
    assert drawn is not None
    return base64.b64decode(drawn[0].split(",", 1)[1])


if __name__ == "__main__":
    TARGET.write_bytes(picture())
