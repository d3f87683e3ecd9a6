"""Forecast and gist, kept beside the log of a batch.

Revision ID: 0003
Revises: 0002
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add both tables."""
    op.create_table(
        "outlook",
        sa.Column("batch", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["batch"], ["batch.key"], name=op.f("fk_outlook_batch_batch")),
        sa.PrimaryKeyConstraint("batch", name=op.f("pk_outlook")),
    )
    op.create_table(
        "gist",
        sa.Column("batch", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["batch"], ["batch.key"], name=op.f("fk_gist_batch_batch")),
        sa.PrimaryKeyConstraint("batch", name=op.f("pk_gist")),
    )


def downgrade() -> None:
    """Take them away; both can be made again."""
    op.drop_table("gist")
    op.drop_table("outlook")
