"""Was the logbook changed after it was written? Whatever shows its numbers says so."""

from pathlib import Path

from rig.commands import typed
from rig.errors import RigError
from rig.logbook.audit import NOT_A_LOGBOOK, audit


def warning(path: Path) -> str:
    """What a reader must be told before any number; "" for a sound logbook.

    Raises:
        RigError: there is no such file, or it is no logbook at all.
    """
    findings = audit(path)
    if not findings:
        return ""
    first, more = findings[0], len(findings) - 1
    if first.what.startswith(NOT_A_LOGBOOK):
        raise RigError(first.what, where=str(path), remedy="name a logbook, or take a copy of it")
    and_more = f" (and {more} more)" if more else ""
    return (
        f"THIS LOGBOOK WAS CHANGED AFTER IT WAS WRITTEN, OR IS DAMAGED: {first.place}: "
        f"{first.what}{and_more}. Do not rely on these numbers. "
        f"See: {typed('bladerig', 'audit', path)}"
    )
