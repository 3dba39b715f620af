"""Statements compiled once for a database and then given straight to its driver.

SQLAlchemy Core writes the SQL of both databases from one definition; building and
running a statement through it costs more than the write itself, so what writes is
compiled when a book is opened.
"""

from collections.abc import Callable, Mapping, Sequence
from operator import itemgetter
from typing import Any

from sqlalchemy import Executable, Table, bindparam, func, select
from sqlalchemy.engine import Dialect
from sqlalchemy.sql.compiler import SQLCompiler

from gaugewright.journal import schema

LINE = (
    schema.entry.c.number,
    schema.entry.c.text,
    schema.entry.c.prev_hash,
    schema.entry.c.hash,
)
"""The columns of a stored line."""


class Prepared:
    """One Core statement as the driver takes it.

    >>> from sqlalchemy import Column, Integer, MetaData, Table
    >>> from sqlalchemy.dialects import sqlite
    >>> table = Table("pour", MetaData(), Column("step", Integer), Column("litres", Integer))
    >>> Prepared(table.insert(), sqlite.dialect()).sql
    'INSERT INTO pour (step, litres) VALUES (?, ?)'
    """

    def __init__(self, statement: Executable, dialect: Dialect, names: Sequence[str] = ()) -> None:
        # Every statement has it; the common type `Executable` does not say so.
        compiled = statement.compile(  # type: ignore[attr-defined]
            dialect=dialect, column_keys=list(names) if names else None
        )
        assert isinstance(compiled, SQLCompiler)
        self.sql = str(compiled)
        order = compiled.positiontup or []
        self.order = tuple(order)
        self._pick: Callable[[Mapping[str, Any]], Any] = _as_they_are
        if compiled.positional and len(order) > 1:
            self._pick = itemgetter(*order)
        elif compiled.positional:
            self._pick = lambda values: tuple(values[name] for name in order)

    def run(self, cursor: Any, **values: Any) -> Any:
        """Run it once on a driver's cursor, with its parameters by name."""
        return cursor.execute(self.sql, self._pick(values))


class PreparedInsert:
    """An insert of whole rows, given in the order of the table's columns."""

    def __init__(self, table: Table, dialect: Dialect) -> None:
        self._prepared = Prepared(table.insert(), dialect)
        self.sql = self._prepared.sql
        self._names = tuple(column.name for column in table.columns)
        self._is_positional = self._prepared.order == self._names

    def run(self, cursor: Any, rows: Sequence[tuple[Any, ...]]) -> None:
        """Insert the rows on a driver's cursor."""
        given: Sequence[Any] = rows
        if not self._is_positional:
            given = [dict(zip(self._names, row, strict=True)) for row in rows]
        if len(given) == 1:
            cursor.execute(self.sql, given[0])
        else:
            cursor.executemany(self.sql, given)


def _as_they_are(values: Mapping[str, Any]) -> Any:
    return values


class Statements:
    """Everything that writes to a book, for one database."""

    def __init__(self, dialect: Dialect) -> None:
        job, photo = schema.job, schema.photo
        self.add_entry = PreparedInsert(schema.entry, dialect)
        self.add_job = Prepared(job.insert().inline(), dialect, names=("job", "summary"))
        self.summarise = Prepared(
            job.update().where(job.c.job == bindparam("this_job")), dialect, names=("summary",)
        )
        self.find_photo = Prepared(
            select(photo.c.sha256).where(photo.c.sha256 == bindparam("sha256")), dialect
        )
        # Two workshops may send the same photo at once; a SQLite book has one writer.
        insert_photo = photo.insert()
        if dialect.name == "postgresql":
            from sqlalchemy.dialects import postgresql  # a fifth of SQLAlchemy's own start

            insert_photo = postgresql.insert(photo).on_conflict_do_nothing()
        self.add_photo = Prepared(insert_photo, dialect)
        self.last_setting = Prepared(select(func.max(schema.setting.c.version)), dialect)
        self.add_setting = Prepared(schema.setting.insert(), dialect)
