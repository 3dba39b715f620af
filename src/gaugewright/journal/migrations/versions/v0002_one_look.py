"""A lone look at the end of the chain instead of two and a foreign key.  Never edited."""

from alembic import op

revision = "0002"
down_revision = "0001"

_GENESIS = "0" * 64


def upgrade() -> None:
    """Make the guards of schema 0002 from those of 0001; the tables stay as they are."""
    if op.get_bind().dialect.name != "sqlite":
        return  # There the foreign key is asked, and a guard that looks twice costs nothing.
    for statement in _SQLITE:
        op.get_bind().exec_driver_sql(statement)


_SQLITE = (
    "CREATE TRIGGER job_no_rename BEFORE UPDATE OF place, job ON job BEGIN SELECT "
    "RAISE(ABORT, 'job: nothing here is ever changed or deleted'); END",
    "CREATE TRIGGER job_no_replace BEFORE INSERT ON job WHEN EXISTS (SELECT 1 FROM job "
    "WHERE place = NEW.place OR job = NEW.job) BEGIN SELECT RAISE(ABORT, 'job: nothing "
    "here is ever changed or deleted'); END",
    "DROP TRIGGER entry_follows",
    "CREATE TRIGGER entry_follows BEFORE INSERT ON entry WHEN (NEW.number - 1, "
    "NEW.prev_hash) IS NOT (SELECT number, hash FROM entry WHERE job = NEW.job ORDER BY "
    f"number DESC LIMIT 1) AND (NEW.number <> 1 OR NEW.prev_hash <> '{_GENESIS}' OR NOT "
    "EXISTS (SELECT 1 FROM job WHERE job = NEW.job) OR EXISTS (SELECT 1 FROM entry WHERE "
    "job = NEW.job)) BEGIN SELECT RAISE(ABORT, 'entry: does not follow the one before'); "
    "END",
)
