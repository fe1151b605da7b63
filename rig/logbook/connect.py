"""Opening a logbook file with SQLite, and turning what SQLite says into one line for a person."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from os import PathLike, fspath
from pathlib import Path

from rig.errors import RigError
from rig.logbook.schema import APPLICATION_ID, VERSION
from rig.logbook.sidefile import side_file

StrPath = str | PathLike[str]

OLDEST_SQLITE = (3, 37, 0)
_BUSY_MS = 10_000

_SAID = {
    "FULL": ("the disk is full", "free some space and repeat; nothing stored before is lost"),
    "READONLY": ("may not be written", "allow writing to the file and its folder, or copy it"),
    "CANTOPEN": ("cannot be opened", "check the rights of the file and its folder"),
    "PERM": ("cannot be opened", "check the rights of the file and its folder"),
    "NOTADB": ("is not a logbook, or its first bytes are damaged", "run the audit on it"),
    "CORRUPT": ("is damaged", "run the audit on it, then go on from a copy"),
    "IOERR": ("the disk reports a failure", "check the disk and its cable, then run the audit"),
    "BUSY": ("another program holds the file", "close it there and repeat"),
    "LOCKED": ("another program holds the file", "close it there and repeat"),
}


@contextmanager
def mending(path: Path) -> Iterator[None]:
    """Raises SQLite's complaints about the file or the disk as RigError, others as they are."""
    try:
        yield
    except sqlite3.DatabaseError as error:
        name = getattr(error, "sqlite_errorname", "").removeprefix("SQLITE_").split("_")[0]
        if name not in _SAID:
            raise
        what, remedy = _SAID[name]
        raise RigError(f"{what} ({error})", where=str(path), remedy=remedy) from error


@contextmanager
def reading(path: Path) -> Iterator[None]:
    """As `mending`, and what cannot be made of stored cells is damage too."""
    try:
        with mending(path):
            yield
    except (ValueError, TypeError, KeyError, sqlite3.DatabaseError) as error:
        raise RigError(
            f"is damaged ({error})", where=str(path), remedy="run the audit on it"
        ) from error


def require_sqlite() -> None:
    """Refuses an SQLite without STRICT tables."""
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        raise RigError(
            f"Python was built with SQLite {sqlite3.sqlite_version}, a logbook needs 3.37 or newer",
            remedy="use a newer Python",
        )


def _resolved(path: StrPath) -> Path:
    try:
        return Path(fspath(path)).resolve()
    except (OSError, RuntimeError):  # what Python says of links that lead in a circle
        raise RigError(
            "its links lead in a circle", where=str(path), remedy="name the file itself"
        ) from None


def new_path(path: StrPath) -> Path:
    """Resolves the path of a logbook to create; its folder must exist."""
    file = _resolved(path)
    if not file.parent.is_dir():
        raise RigError(
            f"the folder {file.parent} does not exist", where=str(path), remedy="create it first"
        )
    return file


_SIDE_ENDS = ("-wal", "-shm", "-journal")


def require_absent(file: Path) -> None:
    """Refuses a path that is taken; to be asked while holding the writer's place.

    Also one beside which a side file of another logbook lies, which SQLite would take for its own.
    """
    if file.name.endswith((*_SIDE_ENDS, ".lock")):
        raise RigError(
            "is a name for a logbook's side files",
            where=str(file),
            remedy="choose another name for the new logbook",
        )
    for side in (file.with_name(file.name + end) for end in _SIDE_ENDS):
        if side.exists():
            raise RigError(
                f"{side.name} of another logbook lies here",
                where=str(file),
                remedy="bring it back to its logbook, or choose another name",
            )
    if file.exists():
        what = "is a folder" if file.is_dir() else "exists already"
        raise RigError(what, where=str(file), remedy="choose another name for the new logbook")


def existing_path(path: StrPath) -> Path:
    """Resolves the path of a logbook to open; it must be a file."""
    file = _resolved(path)
    try:
        is_folder, is_file = file.is_dir(), file.is_file()
        is_empty = is_file and file.stat().st_size == 0
    except OSError as error:
        raise RigError(str(error.strerror), where=str(path), remedy="check the path") from error
    if is_folder:
        raise RigError("is a folder, not a logbook", where=str(path), remedy="name the file in it")
    if not is_file:
        raise RigError("no such logbook", where=str(path), remedy="check the path")
    if is_empty:
        raise RigError("is an empty file, not a logbook", where=str(path), remedy="delete it")
    return file


def reader(file: Path) -> sqlite3.Connection:
    """Opens a file for reading only; nothing is ever written to it."""
    try:
        return _connect(file, "mode=ro")
    except sqlite3.OperationalError as error:
        wal = side_file(file)
        no_side_files = error.sqlite_errorname.startswith(("SQLITE_CANTOPEN", "SQLITE_READONLY"))
        if not no_side_files or (wal.exists() and wal.stat().st_size):
            raise
        # A copy taken from a live study, in a folder where SQLite may not make its side files.
        return _connect(file, "immutable=1&mode=ro")


def writer(file: Path, *, create: bool = False) -> sqlite3.Connection:
    """Opens a file for writing, every commit forced to the disk before it returns."""
    connection = _connect(file, "mode=rwc" if create else "mode=rw")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA fullfsync = ON")  # macOS: past the drive's own cache
    connection.execute("PRAGMA checkpoint_fullfsync = ON")
    return connection


def write_ahead(connection: sqlite3.Connection) -> None:
    """Switches to the write-ahead log, so that readers read while we write.

    A file system that cannot share memory (some network folders) stays with the rollback
    journal: as durable, but there readers and the writer wait for each other.
    """
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("BEGIN IMMEDIATE")  # a file that may only be read shows here
    connection.execute("COMMIT")


def checkpoint(connection: sqlite3.Connection) -> None:
    """Puts the rows of the side file into the logbook itself, as far as readers let it.

    They are on the disk already: what hinders it now is mended by the next one.
    """
    with suppress(sqlite3.Error):
        connection.execute("PRAGMA wal_checkpoint(PASSIVE)")


def settle(connection: sqlite3.Connection) -> None:
    """Puts everything into the one file before closing, so that it can be copied or archived.

    When a reader is still there the side files stay until the next writer closes.
    """
    connection.execute("PRAGMA busy_timeout = 0")
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.execute("PRAGMA journal_mode = DELETE")


def require_version(connection: sqlite3.Connection, file: Path) -> int:
    """The schema version of an open file; refuses foreign and newer files."""
    (application,) = connection.execute("PRAGMA application_id").fetchone()
    if application != APPLICATION_ID:
        raise RigError("is not a logbook", where=str(file), remedy="name a logbook file")
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    if version > VERSION:
        raise RigError(
            f"has schema version {version}, this program knows versions up to {VERSION}",
            where=str(file),
            remedy="open it with a newer release of the program",
            value=version,
        )
    if version < 1:
        raise RigError(
            f"has schema version {version}, which does not exist",
            where=str(file),
            remedy="run the audit on it",
            value=version,
        )
    return int(version)


def _connect(file: Path, how: str) -> sqlite3.Connection:
    connection = sqlite3.connect(f"{file.as_uri()}?{how}", uri=True, isolation_level=None)
    try:
        connection.execute(f"PRAGMA busy_timeout = {_BUSY_MS}")
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA trusted_schema = OFF")
        connection.execute("PRAGMA cell_size_check = ON")
        connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    except BaseException:
        connection.close()
        raise
    return connection
