"""`make mutants`: makes each fault in a copy of the tree and runs the tests that should notice it.

Which modules, by which tests: `targets.toml`. A fault that no test notices is a survivor: either a
test is missing, or the fault changes nothing that was promised; then it stands in `survivors.toml`
with the reason. Exit code 1 when a survivor has none. Single modules:
`python -m tests.mutants rig.logbook.journal`.
"""

import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue

from tests.mutants.faults import Fault, chosen

ROOT, HERE = Path(__file__).parents[2], Path(__file__).parent
LONGEST_S = 300.0  # a fault that makes tests hang is noticed too
KILLED, SURVIVED, INVALID = "killed", "SURVIVED", "invalid"


@dataclass(frozen=True)
class Trial:
    """One fault in one file, and the tests that should notice it."""

    module: str
    file: str
    fault: Fault
    tests: tuple[str, ...]

    def told(self) -> str:
        """For people: where it is and what was done."""
        made = self.fault
        return f"{self.file}:{made.line}: {made.where}  [{made.was} -> {made.became}]"

    def key(self) -> tuple[str, str, str, str]:
        """As survivors.toml names it: without the line's number, which moves."""
        return self.module, self.fault.where, self.fault.was, self.fault.became


def trials(only: list[str]) -> Iterator[Trial]:
    """Of all targets, or of those named."""
    for target in tomllib.loads((HERE / "targets.toml").read_text())["target"]:
        module = target["module"]
        if only and module not in only:
            continue
        file = module if "/" in module else module.replace(".", "/") + ".py"
        language = "py" if file.endswith(".py") else "c"
        for fault in chosen((ROOT / file).read_text(), language, target["faults"]):
            yield Trial(module, file, fault, tuple(target["tests"]))


def excused() -> dict[tuple[str, str, str, str], str]:
    """Survivors that are known, with the reason."""
    listed = tomllib.loads((HERE / "survivors.toml").read_text()).get("survivor", [])
    return {(s["module"], s["where"], s["was"], s["became"]): s["reason"] for s in listed}


def _copied(to: Path) -> Path:
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT, capture_output=True, check=True,
    ).stdout.decode()  # fmt: skip
    for name in filter(None, listed.split("\0")):
        if (ROOT / name).is_file():
            (to / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, to / name)
    return to


def _tested(tree: Path, tests: tuple[str, ...]) -> int | None:
    """pytest's exit code in a copy; None when it did not end."""
    environment = {**os.environ, "PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        return subprocess.run(
            [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests],
            cwd=tree, env=environment, capture_output=True, timeout=LONGEST_S, check=False,
        ).returncode  # fmt: skip
    except subprocess.TimeoutExpired:
        return None


def _tried(trial: Trial, tree: Path) -> str:
    file = tree / trial.file
    sound = file.read_text()
    try:
        file.write_text(trial.fault.made(sound))
        code = _tested(tree, trial.tests)
    finally:
        file.write_text(sound)
    return {0: SURVIVED, 1: KILLED, None: KILLED}.get(code, INVALID)


def _results(asked: list[Trial], trees: list[Path]) -> Iterator[tuple[Trial, str]]:
    """Each with what came of it, as many at once as there are copies."""
    free: SimpleQueue[Path] = SimpleQueue()
    for tree in trees:
        free.put(tree)

    def one(trial: Trial) -> str:
        tree = free.get()
        try:
            return _tried(trial, tree)
        finally:
            free.put(tree)

    with ThreadPoolExecutor(len(trees)) as pool:
        yield from zip(asked, pool.map(one, asked), strict=True)


def _require_sound(tree: Path, asked: list[Trial]) -> None:
    for tests in dict.fromkeys(trial.tests for trial in asked):
        if _tested(tree, tests) != 0:
            raise SystemExit(f"without any fault these tests fail: {' '.join(tests)}")


def main(only: list[str]) -> int:
    """Tells each as it comes, the counts at the end."""
    asked, known = list(trials(only)), excused()
    if not asked:
        raise SystemExit(f"no such target; see {HERE / 'targets.toml'}")
    came: Counter[str] = Counter()
    survived: list[Trial] = []
    with tempfile.TemporaryDirectory() as folder:
        trees = [_copied(Path(folder) / str(n)) for n in range(os.cpu_count() or 1)]
        _require_sound(trees[0], asked)
        for number, (trial, result) in enumerate(_results(asked, trees), 1):
            came[result] += 1
            survived += [trial] * (result == SURVIVED)
            why = f" ({known[trial.key()]})" if trial.key() in known else ""
            print(f"{number}/{len(asked)} {result}{why}: {trial.told()}", flush=True)
    print(", ".join(f"{came[kind]} {kind.lower()}" for kind in (KILLED, SURVIVED, INVALID)))
    for key in () if only else known.keys() - {trial.key() for trial in survived}:
        print("no survivor any more, strike it from survivors.toml:", *key)
    missing = [trial for trial in survived if trial.key() not in known]
    for trial in missing:
        print("no test notices:", trial.told())
    return 1 if missing else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
