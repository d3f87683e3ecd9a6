"""Batches with their logs, tokens, photos, settings and sessions."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

TEXT, WHEN = sa.Text(), sa.DateTime(timezone=True)


def upgrade() -> None:
    """Make the tables of the batch."""
    _batch()
    _entry()
    _token_and_photo()
    op.create_table(
        "setting",
        sa.Column("name", TEXT, nullable=False),
        sa.Column("value", TEXT, nullable=False),
        sa.Column("updated_at", WHEN, nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_setting")),
    )
    op.create_table(
        "session",
        sa.Column("sha256", TEXT, nullable=False),
        sa.Column("created_at", WHEN, nullable=False),
        sa.Column("ends_at", WHEN, nullable=False),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_session")),
    )


def _batch() -> None:
    op.create_table(
        "batch",
        sa.Column("key", TEXT, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("sheet", TEXT, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", WHEN, nullable=False),
        sa.Column("deleted_at", WHEN),
        sa.Column("digest", TEXT, nullable=False),
        sa.Column("digest_version", sa.Integer(), nullable=False),
        sa.Column("digest_at", WHEN),
        sa.CheckConstraint("version >= 1", name=op.f("ck_batch_version_from_one")),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_batch")),
    )


def _entry() -> None:
    op.create_table(
        "entry",
        sa.Column("batch", TEXT, nullable=False),
        sa.Column("seq", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", TEXT, nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("target", TEXT),
        sa.Column("at", WHEN, nullable=False),
        sa.Column("logged_at", WHEN, nullable=False),
        sa.Column("who", TEXT, nullable=False),
        sa.Column("content", TEXT, nullable=False),
        sa.CheckConstraint("seq >= 1", name=op.f("ck_entry_seq_from_one")),
        sa.ForeignKeyConstraint(["batch"], ["batch.key"], name=op.f("fk_entry_batch_batch")),
        sa.PrimaryKeyConstraint("batch", "seq", name=op.f("pk_entry")),
        sa.UniqueConstraint("batch", "id", name=op.f("uq_entry_batch")),
    )
    op.create_index("ix_entry_target", "entry", ["batch", "target"])


def _token_and_photo() -> None:
    op.create_table(
        "token",
        sa.Column("id", TEXT, nullable=False),
        sa.Column("batch", TEXT),
        sa.Column("purpose", TEXT, nullable=False),
        sa.Column("label", TEXT, nullable=False),
        sa.Column("sha256", TEXT, nullable=False),
        sa.Column("created_at", WHEN, nullable=False),
        sa.Column("revoked_at", WHEN),
        sa.ForeignKeyConstraint(["batch"], ["batch.key"], name=op.f("fk_token_batch_batch")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_token")),
        sa.UniqueConstraint("sha256", name=op.f("uq_token_sha256")),
    )
    op.create_table(
        "photo",
        sa.Column("batch", TEXT, nullable=False),
        sa.Column("id", TEXT, nullable=False),
        sa.Column("media_type", TEXT, nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("sha256", TEXT, nullable=False),
        sa.Column("created_at", WHEN, nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["batch"], ["batch.key"], name=op.f("fk_photo_batch_batch")),
        sa.PrimaryKeyConstraint("batch", "id", name=op.f("pk_photo")),
    )


def downgrade() -> None:
    """Take the tables of the batch away."""
    for name in ("session", "setting", "photo", "token", "entry", "batch"):
        op.drop_table(name)
