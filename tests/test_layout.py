"""Statements set by hand stand only where the page for contributors allows them."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
FOLDERS = ("rig", "procedures", "tests", "fixtures", "firmware")
SKIP = "  # fmt: skip"
SAVED = 2  # lines that a statement set by hand saves at least


def test_a_statement_set_by_hand_saves_two_lines_or_more(tmp_path: Path) -> None:
    """Every file without its skips is laid out by ruff: it must grow by two lines for each."""
    held: dict[Path, tuple[int, int]] = {}
    (tmp_path / "pyproject.toml").write_text((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    for file in (one for folder in FOLDERS for one in (ROOT / folder).rglob("*.py")):
        text = file.read_text(encoding="utf-8")
        skips = sum(line.endswith(SKIP) for line in text.splitlines())
        if skips:
            copy = tmp_path / file.relative_to(ROOT)
            copy.parent.mkdir(parents=True, exist_ok=True)
            copy.write_text(text.replace(f"{SKIP}\n", "\n"), encoding="utf-8")
            held[copy] = skips, text.count("\n")
    command = [sys.executable, "-m", "ruff", "format", "-q", "--no-cache", tmp_path]
    subprocess.run(command, check=True, timeout=60)
    for copy, (skips, before) in held.items():
        grown = copy.read_text(encoding="utf-8").count("\n") - before
        assert grown >= SAVED * skips, f"{copy.relative_to(tmp_path)}: {skips} save {grown} lines"
