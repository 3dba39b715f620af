"""How a migration runs: on the connection and in the transaction that `migrate` opened."""

from alembic import context

from gaugewright.journal import schema


def run() -> None:
    """Run the migrations that are wanted."""
    context.configure(
        connection=context.config.attributes["connection"],
        target_metadata=schema.METADATA,
        version_table=schema.version.name,
        transactional_ddl=True,
    )
    with context.begin_transaction():
        context.run_migrations()


if __name__ == "env_py":  # The name under which Alembic, and nobody else, loads this file.
    run()
