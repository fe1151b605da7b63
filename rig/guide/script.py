"""A procedure as a file: one of ours by name, or any script of the user's own."""

import hashlib
import importlib.util
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from types import ModuleType
from typing import Any

from rig.bench import Bench
from rig.errors import RigError
from rig.guide.parameters import Parameter
from rig.guide.steps import Procedure


@dataclass(frozen=True)
class Script:
    """A procedure ready to begin; `text` and `sha256` go into the logbook with each run."""

    name: str
    title: str
    text: str
    sha256: str
    parameters: Sequence[Parameter]
    _procedure: Callable[[Mapping[str, Any], Bench], Procedure]

    def begin(self, params: Mapping[str, Any], bench: Bench) -> Procedure:
        """A fresh run of the script's generator."""
        return self._procedure(params, bench)


def built_in() -> list[str]:
    """Names of the procedures that come with the program."""
    folder = files("procedures")
    names = (entry.name for entry in folder.iterdir())
    return sorted(n.removesuffix(".py") for n in names if n.endswith(".py") and n[0] != "_")


def load(name: str) -> Script:
    """The procedure `name`: one of ours, or a path to a script (`./mine.py`).

    Raises:
        RigError: no such procedure, or the file is not one.
    """
    if name in built_in():
        path = Path(str(files("procedures") / f"{name}.py"))
    elif name.endswith(".py"):
        path = Path(name)
        name = path.stem
    else:
        raise RigError(
            f"no procedure '{name}'",
            remedy=f"there is {', '.join(built_in())}; your own script is given as ./mine.py",
        )
    return _read(name, path)


def _read(name: str, path: Path) -> Script:
    try:
        source = path.read_bytes()
        text = source.decode()
    except (OSError, UnicodeDecodeError) as error:
        raise RigError(
            f"cannot be read ({error})", where=str(path), remedy="check the path"
        ) from None
    module = _execute(path)
    procedure = getattr(module, "procedure", None)
    parameters = getattr(module, "PARAMETERS", ())
    if not callable(procedure) or not all(isinstance(p, Parameter) for p in parameters):
        raise RigError(
            "is not a procedure",
            where=str(path),
            remedy="it needs a function procedure(params, bench) that yields steps, and may "
            "have PARAMETERS",
        )
    title = getattr(module, "TITLE", name)
    return Script(name, title, text, _digest(source), tuple(parameters), procedure)


def _digest(source: bytes) -> str:
    """Hash of the script and of the passages it may share with others."""
    told = hashlib.sha256(source)
    shared = sorted(Path(str(files("procedures"))).glob("lib/*.py"))
    for path in shared:
        told.update(path.read_bytes())
    return told.hexdigest()


def _execute(path: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location(f"bladerig_script_{path.stem}", path)
    assert spec is not None and spec.loader is not None  # a .py file always has both
    module = importlib.util.module_from_spec(spec)
    try:
        spec.loader.exec_module(module)
    except Exception as error:  # any fault of a user's script is told as the user's to mend
        line = getattr(error, "lineno", None) or _line_in(path, error)
        place = f"{path}:{line}" if line else str(path)
        raise RigError(
            f"{type(error).__name__}: {error}", where=place, remedy="mend the script"
        ) from error
    return module


def _line_in(path: Path, error: BaseException) -> int | None:
    """The last line of `path` that the error passed through."""
    trace, line = error.__traceback__, None
    while trace is not None:
        if trace.tb_frame.f_code.co_filename == str(path):
            line = trace.tb_lineno
        trace = trace.tb_next
    return line
