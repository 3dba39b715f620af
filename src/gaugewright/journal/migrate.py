"""Bringing an older book up to date; imported only when there is something to do."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import Engine, create_engine

from gaugewright.journal import schema


def upgrade(engine: Engine, to: str = schema.HEAD) -> None:
    """Bring a book to a schema in one transaction: afterwards it is old or new, never between."""
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    with engine.connect().execution_options(is_writer=True) as connection, connection.begin():
        config.attributes["connection"] = connection
        command.upgrade(config, to)


def guards_of(version: str) -> frozenset[str]:
    """Return the guards that a file of an older schema was made with.

    >>> guards_of("0001") == set(schema.guards("sqlite"))
    False
    """
    engine = create_engine("sqlite://")
    try:
        upgrade(engine, version)
        with engine.connect() as connection:
            asked = "SELECT sql FROM sqlite_master WHERE type = 'trigger'"
            return frozenset(sql for (sql,) in connection.exec_driver_sql(asked))
    finally:
        engine.dispose()
