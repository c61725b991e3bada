"""Answers are kept, so that a request that is sent twice is done once.

Revision: answers_are_kept, after runs_name_their_reading_profile.
"""

import sqlalchemy as sa
from alembic import op

revision = "answers_are_kept"
down_revision = "runs_name_their_reading_profile"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Go forward."""
    op.create_table(
        "kept_answers",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=255), nullable=False),
        sa.Column("request_sha256", sa.String(length=64), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("answer", sa.JSON(), nullable=False),
        sa.Column("kept_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["user_id"], ["users.id"], name=op.f("fk_kept_answers_user_id_users")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_kept_answers")),
        sa.UniqueConstraint("user_id", "key", name=op.f("uq_kept_answers_user_id_key")),
    )
    op.create_index(op.f("ix_kept_answers_kept_at"), "kept_answers", ["kept_at"])


def downgrade() -> None:
    """Go back."""
    op.drop_index(op.f("ix_kept_answers_kept_at"), table_name="kept_answers")
    op.drop_table("kept_answers")
