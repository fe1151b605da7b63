"""What a run was asked for, without what nobody set."""

from collections.abc import Mapping
from typing import Any

from rig.errors import RigError
from rig.guide import script
from rig.guide.parameters import Parameter
from rig.logbook.records import Run


def settings(run: Run) -> dict[str, str]:
    """As shown: without empty words, and without a default of 0 where 0 means "not set"."""
    known = _parameters(run)
    return {
        name: shown
        for name, shown in _shown(run).items()
        if not (name in known and _unset(known[name], run.params.get(name)))
    }


def unlike_defaults(run: Run) -> dict[str, str]:
    """Only what differs from the procedure's defaults."""
    known = _parameters(run)
    return {
        name: shown
        for name, shown in _shown(run).items()
        if not (name in known and _by_default(known[name], run.params.get(name)))
    }


def _shown(run: Run) -> dict[str, str]:
    told: Mapping[str, Any] = run.versions.get("asked", run.params)
    return {name: str(value) for name, value in told.items() if value != ""}


def _parameters(run: Run) -> dict[str, Parameter]:
    """Those of one of our procedures; somebody's own script is not run to make a page."""
    if run.versions.get("script_path") or run.procedure not in script.built_in():
        return {}
    return {one.name: one for one in script.load(run.procedure).parameters}


def _by_default(parameter: Parameter, value: Any) -> bool:
    """Whether a value of a run, perhaps of an early version, is today's default."""
    try:
        return parameter.default is not None and bool(parameter.read(parameter.default) == value)
    except RigError:
        return False


def _unset(parameter: Parameter, value: Any) -> bool:
    return parameter.kind != "flag" and value == 0 and _by_default(parameter, value)
