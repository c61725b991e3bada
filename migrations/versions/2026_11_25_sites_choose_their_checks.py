"""Sites choose which checks they make before a campaign, each choice with a reason.

Revision: sites_choose_their_checks, after routes_sign_their_links.
"""

import sqlalchemy as sa
from alembic import op

revision = "sites_choose_their_checks"
down_revision = "routes_sign_their_links"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Go forward."""
    op.create_table(
        "review_checks",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("left_out", sa.JSON(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("made_by_id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("reason <> ''", name=op.f("ck_review_checks_has_reason")),
        sa.ForeignKeyConstraint(["made_by_id"], ["users.id"], name=op.f("fk_review_checks_made_by_id_users")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_review_checks")),
    )
    op.create_index(op.f("ix_review_checks_made_by_id"), "review_checks", ["made_by_id"])


def downgrade() -> None:
    """Go back."""
    op.drop_index(op.f("ix_review_checks_made_by_id"), table_name="review_checks")
    op.drop_table("review_checks")
