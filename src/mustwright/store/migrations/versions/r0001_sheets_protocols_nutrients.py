"""Sheets, protocols, nutrients and flags."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the first tables."""
    for name, own in (
        ("sheet", [sa.Column("name", sa.Text(), nullable=False)]),
        ("protocol", []),
        ("nutrient", []),
    ):
        op.create_table(
            name,
            sa.Column("key", sa.Text(), nullable=False),
            *own,
            sa.Column("text", sa.Text(), nullable=False),
            sa.Column("version", sa.Integer(), nullable=False),
            sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
            sa.Column("deleted_at", sa.DateTime(timezone=True)),
            sa.CheckConstraint("version >= 1", name=op.f(f"ck_{name}_version_from_one")),
            sa.PrimaryKeyConstraint("key", name=op.f(f"pk_{name}")),
        )
    op.create_table(
        "flag",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("set_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_flag")),
    )


def downgrade() -> None:
    """Take the first tables away."""
    for name in ("flag", "nutrient", "protocol", "sheet"):
        op.drop_table(name)
