"""Find the records of a weekend quickly, and have the database itself refuse to change a record."""

import json

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

REFUSAL = "records can only be added to"


def upgrade() -> None:
    """Make the index of weekends from the records that are there, then the triggers."""
    op.create_table(
        "touches",
        sa.Column("weekend", sa.Text, primary_key=True),
        sa.Column("number", sa.Integer, sa.ForeignKey("records.number"), primary_key=True, autoincrement=False),
    )
    connection = op.get_bind()
    rows = connection.execute(sa.text("SELECT number, weekends FROM records")).all()
    pairs = [{"w": weekend, "n": number} for number, weekends in rows for weekend in json.loads(weekends)]
    if pairs:
        connection.execute(sa.text("INSERT INTO touches (weekend, number) VALUES (:w, :n)"), pairs)
    if connection.dialect.name == "postgresql":
        op.execute(
            f"CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{REFUSAL}'; END $$"
        )
        op.execute(
            "CREATE TRIGGER records_stay BEFORE UPDATE OR DELETE OR TRUNCATE ON records "
            "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
        )
        return
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER records_stay_{verb.lower()} BEFORE {verb} ON records "
            f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
        )
