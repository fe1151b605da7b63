"""firmware/src/wire.h is generated from rig/board/wire.py and committed."""

import re
import subprocess
import sys
from pathlib import Path

from rig.board import wire

ROOT = Path(__file__).resolve().parents[2]
MAKE_HEADER = ROOT / "firmware" / "make_header.py"
HEADER = ROOT / "firmware" / "src" / "wire.h"


def constant(text: str, name: str) -> int:
    found = re.search(rf"_t {name} = (\d+)", text)
    assert found, name
    return int(found[1])


def test_the_committed_header_is_the_one_the_description_gives() -> None:
    done = subprocess.run([sys.executable, MAKE_HEADER, "--check"], check=False)
    assert done.returncode == 0, "run: python firmware/make_header.py"


def test_a_changed_header_is_noticed(tmp_path: Path) -> None:
    changed = HEADER.read_text().replace("BEAT_LIMIT_MS = 500", "BEAT_LIMIT_MS = 501")
    copy = tmp_path / "firmware" / "src" / "wire.h"
    copy.parent.mkdir(parents=True)
    copy.write_text(changed)
    script = f"""
import importlib.util, pathlib, sys
spec = importlib.util.spec_from_file_location("make_header", {str(MAKE_HEADER)!r})
module = importlib.util.module_from_spec(spec)
spec.loader.exec_module(module)
module.HEADER = pathlib.Path({str(copy)!r})
sys.exit(module.main(["--check"]))
"""
    done = subprocess.run([sys.executable, "-c", script], check=False)
    assert done.returncode == 1


def test_the_header_carries_limits_pins_and_the_description() -> None:
    text = HEADER.read_text()
    for name, value in (wire.LIMITS | wire.PINS).items():
        assert constant(text, name) == value
    assert constant(text, "DESCRIPTION") == wire.description()
