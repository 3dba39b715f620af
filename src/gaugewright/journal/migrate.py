"""Bringing an older book up to date; imported only when there is something to do."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import Engine

from gaugewright.journal import schema


def upgrade(engine: Engine, to: str = schema.HEAD) -> None:
    """Bring a book to a schema in one transaction: afterwards it is old or new, never between."""
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    with engine.connect().execution_options(is_writer=True) as connection, connection.begin():
        config.attributes["connection"] = connection
        command.upgrade(config, to)
