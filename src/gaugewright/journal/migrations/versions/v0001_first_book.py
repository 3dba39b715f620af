"""The first schema of a job book.  Never edited: old books are what it made."""

from alembic import op
from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Column,
    ForeignKey,
    Integer,
    LargeBinary,
    PrimaryKeyConstraint,
    Text,
    UniqueConstraint,
    text,
)

revision = "0001"
down_revision = None

_GENESIS = "0" * 64


def upgrade() -> None:
    """Make the tables and the guards of schema 0001."""
    op.create_table(
        "job",
        Column("place", BigInteger().with_variant(Integer, "sqlite"), autoincrement=True),
        Column("job", Text, nullable=False),
        Column("summary", Text, nullable=False),
        PrimaryKeyConstraint("place"),
        UniqueConstraint("job"),
    )
    op.create_table(
        "entry",
        Column("job", Text, ForeignKey("job.job")),
        Column("number", Integer, autoincrement=False),
        Column("text", Text, nullable=False),
        Column("prev_hash", Text, nullable=False),
        Column("hash", Text, nullable=False),
        Column("request_id", Text),
        Column("request_part", Integer),
        PrimaryKeyConstraint("job", "number"),
        CheckConstraint("number >= 1", name="entry_number_counts_from_1"),
        CheckConstraint("length(hash) = 64", name="entry_hash_is_sha256"),
        sqlite_with_rowid=False,
    )
    op.create_index(
        "entry_request",
        "entry",
        ["job", "request_id", "request_part"],
        unique=True,
        sqlite_where=text("request_id IS NOT NULL"),
        postgresql_where=text("request_id IS NOT NULL"),
    )
    op.create_table(
        "photo",
        Column("sha256", Text, primary_key=True),
        Column("media_type", Text, nullable=False),
        Column("bytes", LargeBinary, nullable=False),
    )
    op.create_table(
        "setting",
        Column("version", Integer, autoincrement=False),
        Column("at", Text, nullable=False),
        Column("person", Text, nullable=False),
        Column("device", Text, nullable=False),
        Column("text", Text, nullable=False),
        PrimaryKeyConstraint("version"),
    )
    guards = _SQLITE if op.get_bind().dialect.name == "sqlite" else _POSTGRESQL
    for statement in guards:
        op.get_bind().exec_driver_sql(statement)


_SQLITE = (
    "CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry BEGIN SELECT RAISE(ABORT, "
    "'entry: nothing here is ever changed or deleted'); END",
    "CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry BEGIN SELECT RAISE(ABORT, "
    "'entry: nothing here is ever changed or deleted'); END",
    "CREATE TRIGGER photo_no_update BEFORE UPDATE ON photo BEGIN SELECT RAISE(ABORT, "
    "'photo: nothing here is ever changed or deleted'); END",
    "CREATE TRIGGER photo_no_delete BEFORE DELETE ON photo BEGIN SELECT RAISE(ABORT, "
    "'photo: nothing here is ever changed or deleted'); END",
    "CREATE TRIGGER setting_no_update BEFORE UPDATE ON setting BEGIN SELECT "
    "RAISE(ABORT, 'setting: nothing here is ever changed or deleted'); END",
    "CREATE TRIGGER setting_no_delete BEFORE DELETE ON setting BEGIN SELECT "
    "RAISE(ABORT, 'setting: nothing here is ever changed or deleted'); END",
    "CREATE TRIGGER photo_no_replace BEFORE INSERT ON photo WHEN EXISTS (SELECT 1 "
    "FROM photo WHERE sha256 = NEW.sha256) BEGIN SELECT RAISE(ABORT, 'photo: nothing "
    "here is ever changed or deleted'); END",
    "CREATE TRIGGER setting_no_replace BEFORE INSERT ON setting WHEN EXISTS (SELECT 1"
    " FROM setting WHERE version = NEW.version) BEGIN SELECT RAISE(ABORT, 'setting: "
    "nothing here is ever changed or deleted'); END",
    "CREATE TRIGGER job_no_delete BEFORE DELETE ON job BEGIN SELECT RAISE(ABORT, "
    "'job: nothing here is ever changed or deleted'); END",
    "CREATE TRIGGER entry_follows BEFORE INSERT ON entry WHEN (NEW.number = 1 AND "
    f"NEW.prev_hash <> '{_GENESIS}') OR (NEW.number > 1 AND NOT EXISTS (SELECT 1 FROM"
    " entry WHERE job = NEW.job AND number = NEW.number - 1 AND hash = "
    "NEW.prev_hash)) OR EXISTS (SELECT 1 FROM entry WHERE job = NEW.job AND number = "
    "NEW.number) BEGIN SELECT RAISE(ABORT, 'entry: does not follow the one before'); "
    "END",
)
_POSTGRESQL = (
    "CREATE FUNCTION gaugewright_refuse() RETURNS trigger LANGUAGE plpgsql AS $$ "
    "BEGIN RAISE EXCEPTION USING MESSAGE = TG_TABLE_NAME || ': nothing here is ever "
    "changed or deleted', ERRCODE = 'restrict_violation'; END $$",
    "CREATE FUNCTION gaugewright_follows() RETURNS trigger LANGUAGE plpgsql AS $$ "
    f"BEGIN IF (NEW.number = 1 AND NEW.prev_hash <> '{_GENESIS}') OR (NEW.number > 1 "
    "AND NOT EXISTS (SELECT 1 FROM entry WHERE job = NEW.job AND number = NEW.number "
    "- 1 AND hash = NEW.prev_hash)) THEN RAISE EXCEPTION 'entry: does not follow the "
    "one before' USING ERRCODE = 'check_violation'; END IF; RETURN NEW; END $$",
    "CREATE TRIGGER entry_no_change BEFORE UPDATE OR DELETE ON entry FOR EACH ROW "
    "EXECUTE FUNCTION gaugewright_refuse()",
    "CREATE TRIGGER entry_no_truncate BEFORE TRUNCATE ON entry FOR EACH STATEMENT "
    "EXECUTE FUNCTION gaugewright_refuse()",
    "CREATE TRIGGER photo_no_change BEFORE UPDATE OR DELETE ON photo FOR EACH ROW "
    "EXECUTE FUNCTION gaugewright_refuse()",
    "CREATE TRIGGER photo_no_truncate BEFORE TRUNCATE ON photo FOR EACH STATEMENT "
    "EXECUTE FUNCTION gaugewright_refuse()",
    "CREATE TRIGGER setting_no_change BEFORE UPDATE OR DELETE ON setting FOR EACH ROW"
    " EXECUTE FUNCTION gaugewright_refuse()",
    "CREATE TRIGGER setting_no_truncate BEFORE TRUNCATE ON setting FOR EACH STATEMENT"
    " EXECUTE FUNCTION gaugewright_refuse()",
    "CREATE TRIGGER job_no_delete BEFORE DELETE ON job FOR EACH ROW EXECUTE FUNCTION "
    "gaugewright_refuse()",
    "CREATE TRIGGER job_no_truncate BEFORE TRUNCATE ON job FOR EACH STATEMENT EXECUTE"
    " FUNCTION gaugewright_refuse()",
    "CREATE TRIGGER entry_follows BEFORE INSERT ON entry FOR EACH ROW EXECUTE "
    "FUNCTION gaugewright_follows()",
)
