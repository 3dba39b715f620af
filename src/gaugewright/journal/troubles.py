"""What a database says when something is wrong, put in words that a fitter can act on."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError

from gaugewright.errors import AwayError, JournalError
from gaugewright.words import said

_WORDS = {
    "SQLITE_FULL": "the disk is full. Nothing was written; make room and record it again",
    "SQLITE_READONLY": "the book is read-only, nothing was written. Give write permission "
    "for the file and its folder, or open it only to look",
    "SQLITE_BUSY": "another program holds the book. Nothing was written; close it and try again",
    "SQLITE_LOCKED": "another program holds the book. Nothing was written; close it and try again",
    "SQLITE_IOERR": "the disk refused to write or read (full, pulled out or failing). "
    "What was recorded before is safe; this was not recorded",
    "SQLITE_CANTOPEN": "the file cannot be opened. Check the folder and its permissions",
    "SQLITE_NOTADB": "this is not a job book",
    "SQLITE_CORRUPT": "the file is damaged. Keep it as it is and restore a copy",
    "SQLITE_PERM": "no permission for the file",
    "SQLITE_AUTH": "no permission for the file",
    "SQLITE_TOOBIG": "this is too large to be kept in a book",
}


@contextmanager
def told(where: str, *also: type[Exception]) -> Iterator[None]:
    """Turn what the database raises into a `JournalError` that begins with ``where``.

    ``also`` are errors of a driver that come without SQLAlchemy between.
    """
    kinds: tuple[type[Exception], ...] = (DBAPIError, PoolTimeoutError, sqlite3.Error, *also)
    try:
        yield
    except kinds as error:
        raise trouble(where, error) from error
    except UnicodeDecodeError as error:  # from the driver, where a damaged file names itself
        raise JournalError(f"{where}: {_WORDS['SQLITE_CORRUPT']}") from error


def trouble(where: str, error: Exception) -> JournalError:
    """Return the error to raise for what a database said where nothing was recorded."""
    if is_away(error):
        return AwayError(
            said(
                "{where}: the database does not answer. Nothing was recorded; try again once "
                "it is back",
                where=where,
            )
        )
    return JournalError(f"{where}: {in_words(error)}")


def is_away(error: Exception) -> bool:
    """Tell whether a PostgreSQL server cannot be reached, or has hung up."""
    cause = _cause(error)
    state = getattr(cause, "sqlstate", "")  # SQLite's errors have none
    if state is None:  # found by the driver itself
        return any(each.__name__ == "OperationalError" for each in type(cause).__mro__)
    return state.startswith(("08", "57P"))  # the line; the server shuts down


def in_words(error: Exception) -> str:
    """Return what went wrong, in one line.

    >>> full = sqlite3.OperationalError("database or disk is full")
    >>> full.sqlite_errorname = "SQLITE_FULL"
    >>> in_words(full)
    'the disk is full. Nothing was written; make room and record it again'
    """
    cause = _cause(error)
    name = getattr(cause, "sqlite_errorname", None)
    if name:
        # Extended names such as SQLITE_IOERR_WRITE begin with the plain one.
        plain = "_".join(name.split("_")[:2])
        if plain in _WORDS:
            return _WORDS[plain]
    lines = str(cause).strip().splitlines()
    return lines[0] if lines else type(cause).__name__


def _cause(error: Exception) -> BaseException:
    return error.orig if isinstance(error, DBAPIError) and error.orig else error
