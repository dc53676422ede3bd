"""Keep records in a hash chain."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the table of records."""
    op.create_table(
        "records",
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("kind", sa.String(40), nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("author", sa.Text, nullable=False),
        sa.Column("authenticated", sa.Boolean, nullable=False),
        sa.Column("weekends", sa.Text, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("document", sa.Text),
        sa.Column("previous", sa.String(64), nullable=False, unique=True),
        sa.Column("hash", sa.String(64), nullable=False, unique=True),
    )
