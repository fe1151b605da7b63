"""A procedure as a file: one of ours by name, or any script of the user's own."""

import ast
import hashlib
import importlib.util
import inspect
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from types import ModuleType
from typing import Any

from rig.bench import Bench
from rig.errors import RigError
from rig.guide.parameters import KINDS, Parameter, aside
from rig.guide.steps import Procedure

OPERATOR = aside("operator", "text", "", "who tests; a capability study needs it")
"""Every procedure takes it, whether its file names it or not."""


@dataclass(frozen=True)
class Script:
    """A procedure ready to begin; `text` and `sha256` go into the logbook with each run.

    Attributes:
        path: its file.
        address: what to type for it: its name, or the path of somebody's own.
        own: whether it is somebody's own.
    """

    name: str
    title: str
    text: str
    sha256: str
    parameters: Sequence[Parameter]
    path: Path
    address: str
    own: bool
    _procedure: Callable[[Mapping[str, Any], Bench], Procedure]
    _check: Callable[[Mapping[str, Any], Bench], None] | None = None

    @property
    def line(self) -> int:
        """Where its `procedure` begins."""
        return self._procedure.__code__.co_firstlineno

    def shown(self, params: Mapping[str, Any]) -> dict[str, str]:
        """The parameters as a person would type them."""
        return {p.name: p.shown(params[p.name]) for p in self.parameters if p.name in params}

    def check(self, params: Mapping[str, Any], bench: Bench) -> None:
        """Refuse what cannot be done, before anything is opened (the script's own `check`).

        Raises:
            RigError: why, and what to ask for instead.
        """
        if self._check is not None:
            self._check(params, bench)

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
        return _read(name, Path(str(files("procedures") / f"{name}.py")), name, own=False)
    if name.endswith(".py"):
        return _read(Path(name).stem, Path(name).absolute(), name, own=True)
    raise RigError(
        f"no procedure '{name}'",
        remedy=f"there is {', '.join(built_in())}; your own script is given as ./mine.py",
    )


def _read(name: str, path: Path, address: str, own: bool) -> Script:
    try:
        source = path.read_bytes()
        text = source.decode()
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise RigError(f"cannot be read ({why})", where=address, remedy="check the path") from None
    module = _execute(path, address)
    parameters = tuple(getattr(module, "PARAMETERS", ()))
    _require_procedure(module, parameters, address)
    if all(parameter.name != OPERATOR.name for parameter in parameters):
        parameters = (*parameters, OPERATOR)
    title = str(getattr(module, "TITLE", name))
    return Script(
        name, title, text, _digest(source), parameters, path, address, own,
        module.procedure, getattr(module, "check", None),
    )  # fmt: skip


def _require_procedure(module: ModuleType, parameters: Sequence[Any], address: str) -> None:
    """Refuse a file that holds no procedure as the guide can run it."""
    procedure = getattr(module, "procedure", None)
    if not inspect.isfunction(procedure) or not all(isinstance(p, Parameter) for p in parameters):
        raise RigError(
            "is not a procedure",
            where=address,
            remedy="it needs a function procedure(params, bench) that yields steps, and may "
            "have PARAMETERS",
        )
    try:
        inspect.signature(procedure).bind({}, None)
    except TypeError:
        raise RigError(
            f"procedure{inspect.signature(procedure)} takes other arguments",
            where=f"{address}:{procedure.__code__.co_firstlineno}",
            remedy="write it as procedure(params, bench)",
        ) from None
    for p in parameters:
        if p.kind not in KINDS or not isinstance(p.default, str | None):
            raise RigError(
                f"parameter '{p.name}' is of kind {p.kind!r}, default {p.default!r}",
                where=address,
                remedy=f"kinds are {', '.join(KINDS)}; a default is text or None",
            )


def _digest(source: bytes) -> str:
    """Hash of the script and of the shared passages it uses, directly or through others."""
    told = hashlib.sha256(source)
    folder = Path(str(files("procedures"))) / "lib"
    used, waiting = set[str](), _passages(source)
    while waiting:
        name = waiting.pop()
        used.add(name)
        waiting |= _passages((folder / f"{name}.py").read_bytes()) - used
    for name in sorted(used):
        told.update((folder / f"{name}.py").read_bytes())
    return told.hexdigest()


def _passages(source: bytes) -> set[str]:
    """Names of the modules of `procedures.lib` that a source imports; none when it does not parse
    (running it will tell)."""
    try:
        tree = ast.parse(source)
    except (SyntaxError, ValueError):
        return set()
    found: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module == "procedures.lib":
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and (node.module or "").startswith("procedures.lib."):
            found.add(str(node.module).split(".")[2])
        elif isinstance(node, ast.Import):
            found |= {
                alias.name.split(".")[2]
                for alias in node.names
                if alias.name.startswith("procedures.lib.")
            }
    return {
        name for name in found if (Path(str(files("procedures"))) / "lib" / f"{name}.py").is_file()
    }


def _execute(path: Path, address: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(f"bladerig_script_{path.stem}", path)
    assert spec is not None and spec.loader is not None  # a .py file always has both
    module = importlib.util.module_from_spec(spec)
    try:
        spec.loader.exec_module(module)
    except (Exception, SystemExit) as error:  # any fault of a script is told as its user's to mend
        line = getattr(error, "lineno", None) or line_in(path, error)
        place = f"{address}:{line}" if line else address
        raise RigError(
            " ".join(f"{type(error).__name__}: {error}".split()),
            where=place,
            remedy="mend the script",
        ) from error
    return module


def line_in(path: Path, error: BaseException) -> int | None:
    """The last line of `path` that the error passed through."""
    trace, line = error.__traceback__, None
    while trace is not None:
        if trace.tb_frame.f_code.co_filename == str(path):
            line = trace.tb_lineno
        trace = trace.tb_next
    return line
