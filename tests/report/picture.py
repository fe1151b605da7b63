"""Draw the README's picture anew: `python -m tests.report.picture`."""

import base64
import json
import tempfile
from pathlib import Path

from rig.report import figures
from rig.report.gather import gather
from tests.cli.commands import ROOT, bladerig

PICTURE = ROOT / "procedures" / "drop_impact.svg"


def main() -> None:
    """The demo's drop with the second strike."""
    with tempfile.TemporaryDirectory() as folder:
        told = json.loads(bladerig("demo", "--json", "--out", folder).stdout)
        view = gather(Path(told["logbook"]), told["run_id"])
    trial = next(t for t in view.tested if "second_contact_tick" in t.result["figures"])
    drawn = figures.drop(trial)
    assert drawn is not None
    PICTURE.write_bytes(base64.b64decode(drawn[0].partition(",")[2]))


if __name__ == "__main__":
    main()
