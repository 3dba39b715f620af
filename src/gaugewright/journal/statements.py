"""Statements compiled once for a database and then run without building them again.

The durable append is the one place where the cost of building a statement counts.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, CursorResult, Executable
from sqlalchemy.engine import Dialect
from sqlalchemy.sql.compiler import SQLCompiler


class Prepared:
    """One Core statement as the driver takes it."""

    def __init__(self, statement: Executable, dialect: Dialect, names: Sequence[str] = ()) -> None:
        compiled = statement.compile(  # type: ignore[attr-defined]
            dialect=dialect, column_keys=list(names) if names else None
        )
        assert isinstance(compiled, SQLCompiler)
        self.sql = str(compiled)
        self._order = tuple(compiled.positiontup or ()) if compiled.positional else None

    def run(self, connection: Connection, **values: Any) -> CursorResult[Any]:
        """Run it once, with its parameters by name."""
        return connection.exec_driver_sql(self.sql, self._arranged(values))

    def run_many(self, connection: Connection, rows: Sequence[Mapping[str, Any]]) -> None:
        """Run it once for each row."""
        connection.exec_driver_sql(self.sql, [self._arranged(row) for row in rows])

    def _arranged(self, values: Mapping[str, Any]) -> Any:
        if self._order is None:
            return dict(values)
        return tuple(values[name] for name in self._order)
