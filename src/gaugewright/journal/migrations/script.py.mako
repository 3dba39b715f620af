"""${message}."""

from alembic import op

revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}


def upgrade() -> None:
    """Bring a book one schema further; a book never goes back."""
    ${upgrades if upgrades else "raise NotImplementedError"}
