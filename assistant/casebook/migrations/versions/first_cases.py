"""Cases and their events, as they were before there were migrations."""

import sqlalchemy as sa
from alembic import op

revision = "0001_cases"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the two tables."""
    op.create_table(
        "cases",
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("case_id", sa.String(120), nullable=False, unique=True),
        sa.Column("opened", sa.String(40), nullable=False),
        sa.Column("closed", sa.String(40)),
    )
    op.create_table(
        "events",
        sa.Column("case_id", sa.String(120), sa.ForeignKey("cases.case_id"), primary_key=True),
        sa.Column("sequence", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("event", sa.Text, nullable=False),
        sa.Column("meaning", sa.Text, nullable=False),
        sa.Column("key", sa.String(200)),
        sa.UniqueConstraint("case_id", "key"),
    )
