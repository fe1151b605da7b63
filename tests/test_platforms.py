"""What runs where: everything on Linux, the Python part on macOS and Windows."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from tests.conftest import LINUX_ONLY, left_out

HERE = Path(__file__).parent
ROOT = HERE.parent

# Python's documentation, "Unix-specific services" and the Availability notes of os and signal.
POSIX_MODULES = {"fcntl", "termios", "tty", "pty", "resource", "pwd", "grp", "syslog"}
POSIX_NAMES = {
    "openpty", "ttyname", "set_blocking", "fork", "chown", "geteuid", "seteuid", "getuid",
    "symlink_to", "SIGKILL", "SIGXFSZ", "SIGSTOP", "SIGUSR1", "send_signal", "mkfifo",
}  # fmt: skip


def test_on_linux_every_test_is_collected() -> None:
    assert left_out("linux") == []


@pytest.mark.parametrize("platform", ["darwin", "win32"])
def test_elsewhere_what_needs_linux_is_left_out_and_nothing_is_misspelt(platform: str) -> None:
    assert tuple(left_out(platform)) == LINUX_ONLY
    assert [name for name in left_out(platform) if not (HERE / name).exists()] == []


def collected(platform: str) -> Iterator[Path]:
    """The test files collected on a system."""
    ignored = [HERE / name for name in left_out(platform)]
    for path in sorted(HERE.rglob("test_*.py")):
        if path != Path(__file__) and not any(path.is_relative_to(place) for place in ignored):
            yield path


@cache
def imports(path: Path) -> frozenset[str]:
    """Every module a file names in an import, also those inside functions."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return frozenset(found)


def reached(path: Path, seen: set[Path]) -> set[Path]:
    """The file and all files of tests/ it imports, by any way."""
    if path in seen:
        return seen
    seen.add(path)
    for name in imports(path):
        file = ROOT.joinpath(*name.split(".")).with_suffix(".py")
        if name.startswith("tests.") and file.exists():
            reached(file, seen)
    return seen


def posix_in(path: Path) -> set[str]:
    """POSIX-only names a file uses."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    used = {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
    return (used & POSIX_NAMES) | (imports(path) & POSIX_MODULES)


@pytest.mark.parametrize("platform", ["darwin", "win32"])
def test_no_test_collected_there_needs_what_only_linux_has(platform: str) -> None:
    for path in collected(platform):
        needs = {f"{file}: {name}" for file in reached(path, set()) for name in posix_in(file)}
        assert needs == set(), path
        built = {name for name in imports(path) if name.startswith(("tests.emulator",))}
        assert built == set(), f"{path} builds firmware"


def test_what_is_left_out_is_left_out_for_a_reason() -> None:
    # So that the list does not grow by habit.
    for name in LINUX_ONLY:
        place = HERE / name
        files = sorted(place.rglob("test_*.py")) if place.is_dir() else [place]
        near = set[Path]().union(*(reached(file, set()) for file in files))
        tools = {HERE / "emulator" / "build.py", HERE / "firmware" / "host.py"}
        assert tools & near or any(posix_in(file) for file in near), name


WINDOWS = """
import fcntl, importlib, os, pkgutil, subprocess, sys, tempfile, threading, types
from pathlib import Path
import numpy, scipy.stats, scipy.optimize, pandas, pydantic, click, rich.console, rich.live
import serial, serial.tools.list_ports, jinja2, matplotlib.figure, sqlite3, pyfirmata2

def locking(descriptor, mode, count):
    assert (mode, count) == (2, 1)
    fcntl.lockf(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB, count, os.lseek(descriptor, 0, 1))

sys.modules["msvcrt"] = types.SimpleNamespace(LK_NBLCK=2, locking=locking)
for name in {modules!r}:
    sys.modules[name] = None
for name in {names!r}:
    vars(os).pop(name, None)
sys.platform = "win32"

import rig, procedures
for package in (rig, procedures):
    for module in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
        importlib.import_module(module.name)
        print(module.name)
from rig.errors import RigError
from rig.logbook import Logbook
with tempfile.TemporaryDirectory() as folder:
    path = Path(folder) / "b.logbook"
    with Logbook.create(path, title="t") as book:
        book.append("note", {{}})
    with Logbook.open(path, writable=True) as book:
        print(book.append("note", {{}}), sorted(p.name for p in path.parent.iterdir()))
    print(sorted(p.name for p in path.parent.iterdir()))
"""


def test_every_module_imports_and_a_logbook_is_written_without_posix() -> None:
    code = WINDOWS.format(modules=sorted(POSIX_MODULES), names=sorted(POSIX_NAMES))
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    *modules, written, left = done.stdout.splitlines()
    files = {".".join(p.relative_to(ROOT).with_suffix("").parts) for p in ROOT.glob("rig/*/*.py")}
    assert {name for name in files if not name.endswith("__init__")} <= set(modules)
    assert written == "6 ['b.logbook', 'b.logbook-shm', 'b.logbook-wal', 'b.logbook.lock']"
    assert left == "['b.logbook']"
