"""One writer at a time: an operating-system lock held for the writer's life.

The lock stands on a small file beside the logbook, not on the logbook: SQLite puts its own
POSIX locks on that file, and closing any descriptor of it would drop them ("How To Corrupt
An SQLite Database File", section 2.2). The system frees the lock when the process ends,
however it ends.
"""

import errno
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from rig.errors import RigError

_LOCK_BYTE = 1 << 30

if sys.platform == "win32":
    import msvcrt

    def _try_lock(descriptor: int) -> None:
        os.lseek(descriptor, _LOCK_BYTE, os.SEEK_SET)
        msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
else:
    import fcntl

    def _try_lock(descriptor: int) -> None:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)


def lock_path(logbook: Path) -> Path:
    """The lock file of a logbook."""
    return logbook.with_name(logbook.name + ".lock")


@contextmanager
def writer_lock(logbook: Path) -> Iterator[None]:
    """Holds the one writer's place at a logbook.

    Args:
        logbook: the resolved path, so that two names of one file meet at one lock.

    Raises:
        RigError: another writer holds it, or the folder may not be written.
    """
    descriptor = _acquire(logbook)
    try:
        yield
    finally:
        _release(lock_path(logbook), descriptor)


def _acquire(logbook: Path) -> int:
    path = lock_path(logbook)
    while True:
        descriptor = _open(path, logbook)
        try:
            _try_lock(descriptor)
        except OSError as error:
            os.close(descriptor)
            raise _refused(error, logbook) from None
        if _is_still(path, descriptor):
            return descriptor
        os.close(descriptor)


def _refused(error: OSError, logbook: Path) -> RigError:
    """Held by another writer, or a file system that knows no locks."""
    if error.errno in (errno.EWOULDBLOCK, errno.EACCES, errno.EDEADLK):
        return RigError(
            "another program is writing this logbook",
            where=str(logbook),
            remedy="close it there first; reading is possible meanwhile",
        )
    return RigError(
        f"its file system gives no lock ({error.strerror})",
        where=str(logbook),
        remedy="put the logbook on a disk of this computer; copy it elsewhere afterwards",
    )


def _open(path: Path, logbook: Path) -> int:
    try:
        return os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
    except OSError as error:
        raise RigError(
            f"cannot write in its folder ({error.strerror})",
            where=str(logbook),
            remedy="copy the logbook to a folder you may write in"
            if logbook.exists()
            else "choose a folder you may write in",
        ) from error


def _is_still(path: Path, descriptor: int) -> bool:
    """False when the last writer removed the file between our opening and locking it."""
    try:
        return os.path.samestat(path.stat(), os.fstat(descriptor))
    except FileNotFoundError:
        return False


def _release(path: Path, descriptor: int) -> None:
    if sys.platform == "win32":
        os.close(descriptor)
        with suppress(OSError):  # another writer has opened it meanwhile: it is theirs now
            path.unlink()
        return
    with suppress(OSError):
        path.unlink()
    os.close(descriptor)
