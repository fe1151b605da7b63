"""Was the logbook changed after it was written? Whatever shows its numbers says so."""

from pathlib import Path

from rig.commands import typed
from rig.logbook.audit import audit


def warning(path: Path) -> str:
    """What a reader must be told before any number; "" for a sound logbook.

    Raises:
        RigError: there is no such file.
    """
    findings = audit(path)
    if not findings:
        return ""
    first, more = findings[0], len(findings) - 1
    and_more = f" (and {more} more)" if more else ""
    return (
        f"THIS LOGBOOK WAS CHANGED AFTER IT WAS WRITTEN, OR IS DAMAGED: {first.place}: "
        f"{first.what}{and_more}. Do not rely on these numbers. "
        f"See: {typed('bladerig', 'audit', path)}"
    )
