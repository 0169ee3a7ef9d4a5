"""What can go wrong with kept things, each with cause and remedy, and how failures of the database become one of these."""

from __future__ import annotations

import errno
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, NoSuchModuleError, SQLAlchemyError
from sqlalchemy.exc import TimeoutError as PoolTimeout

from vision.errors import GrainassayError


class StoreError(GrainassayError):
    """Something kept cannot be read or written just now; what was accepted before is untouched."""


class StoreBusy(StoreError):
    """Another program holds the database or it cannot be reached; asking again later may work."""


class StoreFull(StoreError):
    """No room left on the disk."""


class StoreDamaged(StoreError):
    """A kept file or the database is missing or not what was stored."""


class NotThere(StoreError):
    """Nothing of that id is kept (any more)."""

    exit_code = 2


class Refused(StoreError):
    """What was handed in breaks a limit or makes no sense; nothing was stored."""

    exit_code = 2


class JobLost(StoreError):
    """The job is no longer this worker's: its lease ran out, it was cancelled, or its piece was deleted."""


def not_there(what: str) -> NotThere:
    """The error for an id that leads nowhere; the id itself is not repeated, it came from outside."""
    return NotThere(what.capitalize(), f"There is no such {what}; it may have been deleted.", "Go back to the list of pieces.")


def disk_full(subject: str) -> StoreFull:
    """The error for a full disk; `subject`: the folder or database that has no room."""
    return StoreFull(subject, "The disk is full.", "Make room and try again; everything accepted before is still kept.")


def of_file(failure: OSError, subject: str) -> StoreError:
    """What a failure of the file system means; `subject`: the folder it happened in."""
    if failure.errno in (errno.ENOSPC, errno.EDQUOT):
        return disk_full(subject)
    reason = (failure.strerror or str(failure)).lower()
    if failure.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        remedy = "Give the program the right to write there, or choose another folder."
        return StoreError(subject, f"The folder cannot be written ({reason}).", remedy)
    return StoreError(subject, f"The file system failed ({reason}).", "Check the disk and try again.")


#: What the databases say (lower case, part of the message): class, cause, remedy. First match wins.
_SAYINGS: tuple[tuple[tuple[str, ...], type[StoreError], str, str], ...] = (
    (("database is locked", "database table is locked", "lock timeout", "deadlock detected", "could not serialize"), StoreBusy,
     "The database is locked by another program.",
     "Try again; if it stays so, close other programs that use this database."),
    (("database or disk is full", "no space left", "disk full", "could not extend file"), StoreFull,
     "The disk is full.", "Make room and try again; everything accepted before is still kept."),
    (("malformed", "not a database", "disk i/o error", "invalid page"), StoreDamaged,
     "The database file is damaged.",
     "Stop the program, keep a copy of the file, and put back the last backup of the whole folder."),
    (("readonly database", "read-only transaction", "permission denied"), StoreError,
     "The database cannot be written.", "Give the program the right to write there, or choose another place."),
    (("unable to open database",), StoreError,
     "The database file cannot be opened.", "Check that its folder exists and can be written."),
    (("password authentication", "no password supplied", "role \"", "database \"", "pg_hba"), StoreError,
     "The database server refused the sign-in.", "Check user, password and database name in the database URL."),
    (("connection refused", "could not connect", "connection failed", "connection is bad", "connection is lost",
      "connection timeout", "server closed the connection", "terminating connection", "could not translate host",
      "failed to resolve", "the database system is"),
     StoreBusy,
     "The database server cannot be reached.", "Check that it runs and that the database URL is right, then try again."),
)  # fmt: skip


def of_database(failure: SQLAlchemyError, subject: str) -> StoreError | None:
    """What a failure of the database means, or None when it is a mistake of this program (a bug keeps its traceback)."""
    if isinstance(failure, NoSuchModuleError):
        return StoreError(subject, "This kind of database is not known.", "Give a PostgreSQL URL, or leave it out to use SQLite.")
    if isinstance(failure, PoolTimeout):
        return StoreBusy(subject, "Too many requests wait for the database.", "Try again in a moment.")
    if not isinstance(failure, DBAPIError):
        return None
    said = str(failure.orig).lower()
    for parts, kind, cause, remedy in _SAYINGS:
        if any(part in said for part in parts):
            return kind(subject, cause, remedy)
    if failure.connection_invalidated:
        return StoreBusy(subject, "The connection to the database broke off.", "Try again in a moment.")
    return None


@contextmanager
def named(subject: str) -> Iterator[None]:
    """Turns failures of the database and of the file system inside the block into a StoreError."""
    try:
        yield
    except SQLAlchemyError as failure:
        known = of_database(failure, subject)
        if known is None:
            raise
        raise known from failure
    except OSError as failure:
        raise of_file(failure, subject) from failure
