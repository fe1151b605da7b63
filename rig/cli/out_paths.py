"""Where a command may write, looked at before it does anything."""

import errno
from pathlib import Path

from rig.errors import RigError


def require_file(out: Path) -> None:
    """Refuse a file's place that cannot be one.

    Raises:
        RigError: it is a folder or a link in a circle, or its own folder is not there.
    """
    if out.is_symlink() and _in_a_circle(out):
        raise RigError("its links lead in a circle", where=str(out), remedy="name another file")
    if out.is_dir():
        raise RigError("is a folder", where=str(out), remedy="name a file in it")
    if not out.parent.is_dir():
        raise RigError(
            "no such folder", where=str(out.parent), remedy="make it first, or name another"
        )


def _in_a_circle(link: Path) -> bool:
    try:
        link.stat()
    except OSError as error:
        return error.errno == errno.ELOOP
    return False


def require_folder(out: Path) -> None:
    """Refuse a file where a folder is wanted.

    Raises:
        RigError: there is such a file, here or on the way.
    """
    for part in (out, *out.parents):
        if part.exists() and not part.is_dir():
            raise RigError("is a file", where=str(part), remedy="name a folder, new or old")
