"""The tables of a job book: one schema for SQLite and PostgreSQL.

``entry.text`` is TEXT on both: a JSON column would rewrite what the hash covers.
The database itself refuses to change or delete an entry, a photo or a setting, and
refuses an entry that does not follow the one before.  ``job.summary`` is the only
thing that is ever updated; it can be made again from the entries.
"""

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Column,
    Connection,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
)

HEAD = "0002"
"""The schema that this version writes."""
KNOWN = ("0001", "0002")
"""Every schema that this version can bring up to date, oldest first.

Their tables are the same, so each can be looked into without bringing it up to date.
"""
APPLICATION_ID = 0x47574A42
"""Marks a SQLite file as a job book ("GWJB")."""
GENESIS = "0" * 64

METADATA = MetaData()

job = Table(
    "job",
    METADATA,
    Column(
        "place", BigInteger().with_variant(Integer, "sqlite"), primary_key=True, autoincrement=True
    ),
    Column("job", Text, nullable=False, unique=True),
    Column("summary", Text, nullable=False),
)

entry = Table(
    "entry",
    METADATA,
    Column("job", Text, ForeignKey("job.job"), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("text", Text, nullable=False),
    Column("prev_hash", Text, nullable=False),
    Column("hash", Text, nullable=False),
    Column("request_id", Text),
    Column("request_part", Integer),
    CheckConstraint("number >= 1", name="entry_number_counts_from_1"),
    CheckConstraint("length(hash) = 64", name="entry_hash_is_sha256"),
    sqlite_with_rowid=False,
)

_WITH_REQUEST = entry.c.request_id.is_not(None)

entry_request = Index(
    "entry_request",
    entry.c.job,
    entry.c.request_id,
    entry.c.request_part,
    unique=True,
    sqlite_where=_WITH_REQUEST,
)

photo = Table(
    "photo",
    METADATA,
    Column("sha256", Text, primary_key=True),
    Column("media_type", Text, nullable=False),
    Column("bytes", LargeBinary, nullable=False),
)

setting = Table(
    "setting",
    METADATA,
    Column("version", Integer, primary_key=True, autoincrement=False),
    Column("at", Text, nullable=False),
    Column("person", Text, nullable=False),
    Column("device", Text, nullable=False),
    Column("text", Text, nullable=False),
)

version = Table(
    "gaugewright_schema", METADATA, Column("version_num", Text, primary_key=True, nullable=False)
)

KEPT_FOR_EVER = {
    "entry": "job = NEW.job AND number = NEW.number",
    "photo": "sha256 = NEW.sha256",
    "setting": "version = NEW.version",
}
"""Tables whose rows are never changed and never deleted, with what makes a row the same."""


def create(connection: Connection) -> None:
    """Make all tables and guards in an empty database, inside the caller's transaction."""
    if connection.dialect.name == "postgresql":
        # Said here and not above: there it would load that database's half of SQLAlchemy
        # whenever a book that is a file is opened.
        entry_request.dialect_options["postgresql"]["where"] = _WITH_REQUEST
    METADATA.create_all(connection, checkfirst=False)
    for statement in guards(connection.dialect.name):
        connection.exec_driver_sql(statement)
    connection.execute(version.insert().values(version_num=HEAD))


def guards(dialect: str) -> tuple[str, ...]:
    """Return the statements that make the database refuse what must never happen."""
    return _sqlite_guards() if dialect == "sqlite" else _postgresql_guards()


def _sqlite_guards() -> tuple[str, ...]:
    refused = tuple(
        f"CREATE TRIGGER {table}_no_{what.lower()} BEFORE {what} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{table}: nothing here is ever changed or deleted'); END"
        for table in KEPT_FOR_EVER
        for what in ("UPDATE", "DELETE")
    )
    # REPLACE would delete the old row without asking the trigger on DELETE.
    replaced = tuple(
        f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} "
        f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {is_same}) "
        f"BEGIN SELECT RAISE(ABORT, '{table}: nothing here is ever changed or deleted'); END"
        for table, is_same in KEPT_FOR_EVER.items()
        if table != "entry"  # The guard below asks it in passing.
    )
    return (
        *refused,
        *replaced,
        "CREATE TRIGGER job_no_delete BEFORE DELETE ON job "
        "BEGIN SELECT RAISE(ABORT, 'job: nothing here is ever changed or deleted'); END",
        "CREATE TRIGGER job_no_rename BEFORE UPDATE OF place, job ON job "
        "BEGIN SELECT RAISE(ABORT, 'job: nothing here is ever changed or deleted'); END",
        "CREATE TRIGGER job_no_replace BEFORE INSERT ON job "
        "WHEN EXISTS (SELECT 1 FROM job WHERE place = NEW.place OR job = NEW.job) "
        "BEGIN SELECT RAISE(ABORT, 'job: nothing here is ever changed or deleted'); END",
        # One look for the end of the chain answers all but the first entry, whose job must
        # be there; no job ever goes, so the foreign key need not be asked again.
        "CREATE TRIGGER entry_follows BEFORE INSERT ON entry "
        "WHEN (NEW.number - 1, NEW.prev_hash) IS NOT (SELECT number, hash FROM entry "
        "WHERE job = NEW.job ORDER BY number DESC LIMIT 1) "
        f"AND (NEW.number <> 1 OR NEW.prev_hash <> '{GENESIS}' "
        "OR NOT EXISTS (SELECT 1 FROM job WHERE job = NEW.job) "
        "OR EXISTS (SELECT 1 FROM entry WHERE job = NEW.job)) "
        "BEGIN SELECT RAISE(ABORT, 'entry: does not follow the one before'); END",
    )


def _postgresql_guards() -> tuple[str, ...]:
    refused = tuple(
        f"CREATE TRIGGER {table}_no_{name} BEFORE {what} ON {table} "
        f"FOR EACH {each} EXECUTE FUNCTION gaugewright_refuse()"
        for table in KEPT_FOR_EVER
        for name, what, each in (
            ("change", "UPDATE OR DELETE", "ROW"),
            ("truncate", "TRUNCATE", "STATEMENT"),
        )
    )
    return (
        "CREATE FUNCTION gaugewright_refuse() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        "RAISE EXCEPTION USING MESSAGE = TG_TABLE_NAME || "
        "': nothing here is ever changed or deleted', ERRCODE = 'restrict_violation'; END $$",
        "CREATE FUNCTION gaugewright_follows() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"IF (NEW.number = 1 AND NEW.prev_hash <> '{GENESIS}') "
        "OR (NEW.number > 1 AND NOT EXISTS (SELECT 1 FROM entry WHERE job = NEW.job "
        "AND number = NEW.number - 1 AND hash = NEW.prev_hash)) THEN "
        "RAISE EXCEPTION 'entry: does not follow the one before' "
        "USING ERRCODE = 'check_violation'; END IF; RETURN NEW; END $$",
        *refused,
        "CREATE TRIGGER job_no_delete BEFORE DELETE ON job "
        "FOR EACH ROW EXECUTE FUNCTION gaugewright_refuse()",
        "CREATE TRIGGER job_no_truncate BEFORE TRUNCATE ON job "
        "FOR EACH STATEMENT EXECUTE FUNCTION gaugewright_refuse()",
        "CREATE TRIGGER entry_follows BEFORE INSERT ON entry "
        "FOR EACH ROW EXECUTE FUNCTION gaugewright_follows()",
    )
