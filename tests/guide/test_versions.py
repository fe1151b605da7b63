"""Which version of a procedure a run was made with."""

from pathlib import Path

import pytest

from rig.guide import script as scripts


def versions(folder: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    monkeypatch.setattr(scripts, "files", lambda _: folder)
    return {path.stem: scripts._digest(path.read_bytes()) for path in sorted(folder.glob("*.py"))}


def test_a_shared_passage_changes_the_version_of_just_those_that_use_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "lib").mkdir()
    (tmp_path / "lib" / "a.py").write_text("from procedures.lib import b\n")
    (tmp_path / "lib" / "b.py").write_text("X = 1\n")
    (tmp_path / "lib" / "c.py").write_text("from procedures.lib.b import X\n")
    (tmp_path / "through.py").write_text("from procedures.lib import a\n")
    (tmp_path / "direct.py").write_text("import procedures.lib.b\n")
    (tmp_path / "neither.py").write_text("import math\n")
    before = versions(tmp_path, monkeypatch)
    (tmp_path / "lib" / "b.py").write_text("X = 2\n")
    after = versions(tmp_path, monkeypatch)
    changed = {name for name in before if before[name] != after[name]}
    assert changed == {"through", "direct"}


def test_two_procedures_of_ours_share_no_more_than_they_use() -> None:
    assert scripts._passages(b"from procedures.lib import tower, nothing_there\n") == {"tower"}
    assert scripts._passages(b"not python at all (") == set()
