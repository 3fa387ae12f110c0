"""Opening the journal's file, for its one writer and for readers, and SQLite's errors in words a person can use."""

from __future__ import annotations

import errno
import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

from monitor.base.errors import StoreError, StoreFault
from monitor.store import schema

Connect = Callable[[str], sqlite3.Connection]

# Our choice: a commit a second at 10 Hz changes one page; measured, 1024 writes 0.58 GB a day to the disk, 4096 0.82.
PAGE_BYTES = 1024
_WAL_KEPT_BYTES = 8_000_000  # our choice: twice what SQLite lets it grow to before it checkpoints
_BUSY_MS = 5000  # our choice: no reader of ours keeps the file for longer


def connect(uri: str) -> sqlite3.Connection:
    """A connection that begins no transaction by itself; used by one thread at a time."""
    return sqlite3.connect(uri, uri=True, isolation_level=None, check_same_thread=False, timeout=_BUSY_MS / 1000)


def open_writer(path: Path, connect: Connect = connect) -> sqlite3.Connection:
    """The writing connection: write-ahead log, each commit on the disk before it returns; tables of today."""
    connection = connect(_uri(path, "rwc"))
    try:
        connection.execute(f"PRAGMA page_size = {PAGE_BYTES}")
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute(f"PRAGMA journal_size_limit = {_WAL_KEPT_BYTES}")
        schema.migrate(connection, str(path))
    except BaseException:  # whatever it was: closed, and raised again
        connection.close()
        raise
    return connection


def open_reader(path: Path) -> sqlite3.Connection:
    """A connection that cannot write. Raises StoreError: missing, newer, or what else hinders."""
    if not path.is_file():
        raise StoreError(
            f"{path}: no journal there", "name the data folder of one vehicle, as the service reports it", "missing"
        )
    with told(path, "opened"):
        connection = connect(_uri(path, "ro"))
        try:
            try:
                schema.version_of(connection)
            except sqlite3.OperationalError:
                # On a disk that may not be written, SQLite cannot put its index of the write-ahead log beside it. Where
                # there is no such log, the file is whole by itself, and nobody can be writing it.
                if _may_write(path.parent) or Path(f"{path}-wal").exists():
                    raise
                connection.close()
                connection = connect(_uri(path, "ro") + "&immutable=1")
            schema.check_version(connection, str(path))
        except BaseException:  # as above
            connection.close()
            raise
        return connection


def _uri(path: Path, mode: str) -> str:
    return f"file:{quote(str(path.resolve()))}?mode={mode}"


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """All of it, or nothing."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:  # whatever it was: nothing of it is kept
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


@contextmanager
def glance(connection: sqlite3.Connection) -> Iterator[None]:
    """Several reads that see one state."""
    connection.execute("BEGIN")
    try:
        yield
    finally:
        if connection.in_transaction:
            connection.execute("COMMIT")


@contextmanager
def told(path: Path, what: str) -> Iterator[None]:
    """Errors of SQLite and of the disk become StoreError: `path` could not be `what`."""
    try:
        yield
    except sqlite3.Error as wrong:
        if not isinstance(wrong, sqlite3.DatabaseError) or isinstance(wrong, sqlite3.ProgrammingError):
            raise
        raise _error(path, what, _fault_of(wrong, path), str(wrong)) from wrong
    except OSError as wrong:
        raise _error(path, what, _fault_of_disk(wrong.errno), wrong.strerror or str(wrong)) from wrong


def _error(path: Path, what: str, kind: StoreFault, why: str) -> StoreError:
    return StoreError(f"{path}: cannot be {what}: {why}", _REMEDIES[kind], kind)


def _fault_of(wrong: sqlite3.Error, path: Path) -> StoreFault:
    code = getattr(wrong, "sqlite_errorcode", 0)
    primary = code & 0xFF
    if primary in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return "damaged"
    if primary == sqlite3.SQLITE_FULL:
        return "disk_full"
    if primary in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return "held"
    if primary == sqlite3.SQLITE_READONLY or (
        primary == sqlite3.SQLITE_CANTOPEN and path.parent.exists() and not _may_write(path.parent)
    ):
        return "read_only"
    return "failing"


def _may_write(folder: Path) -> bool:
    return os.access(folder, os.W_OK, effective_ids=os.access in os.supports_effective_ids)


def _fault_of_disk(code: int | None) -> StoreFault:
    if code in (errno.ENOSPC, errno.EDQUOT):
        return "disk_full"
    if code in (errno.EROFS, errno.EACCES, errno.EPERM):
        return "read_only"
    return "failing"


_REMEDIES: dict[StoreFault, str] = {
    "disk_full": "free some space on that disk; recording goes on by itself",
    "read_only": "make the folder writable for this user, or name another one",
    "held": "another program holds the journal; close it",
    "damaged": "restart the service: it moves the damaged journal aside and keeps what can be read",
    "newer": "install the later version again",
    "missing": "name the data folder of one vehicle",
    "failing": "check the disk and its mount; recording goes on by itself once it can be written",
}
