"""A bed is reviewed before a campaign, and the review is signed.

Revision: campaigns_are_reviewed, after baselines_can_be_signed.
"""

import sqlalchemy as sa
from alembic import op

revision = "campaigns_are_reviewed"
down_revision = "baselines_can_be_signed"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Go forward."""
    op.create_table(
        "campaign_reviews",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("packing_id", sa.Integer(), nullable=False),
        sa.Column("product", sa.String(length=80), nullable=False),
        sa.Column("cycles_planned", sa.Integer(), nullable=False),
        sa.Column("starts_on", sa.Date(), nullable=False),
        sa.Column("content", sa.JSON(), nullable=False),
        sa.Column("sentence", sa.Text(), nullable=False),
        sa.Column("proposal", sa.String(length=24), nullable=False),
        sa.Column("state", sa.String(length=10), nullable=False),
        sa.Column("decision", sa.String(length=24), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "state in ('draft', 'decided', 'approved')", name=op.f("ck_campaign_reviews_known_state")
        ),
        sa.CheckConstraint(
            "(state = 'draft') = (decision = '')", name=op.f("ck_campaign_reviews_decided_means_decision")
        ),
        sa.CheckConstraint(
            "(decision = '') = (reason = '')", name=op.f("ck_campaign_reviews_decision_has_reason")
        ),
        sa.CheckConstraint(
            "cycles_planned > 0 and cycles_planned <= 600", name=op.f("ck_campaign_reviews_cycles_possible")
        ),
        sa.ForeignKeyConstraint(
            ["packing_id"], ["packings.id"], name=op.f("fk_campaign_reviews_packing_id_packings")
        ),
        sa.ForeignKeyConstraint(
            ["made_by_id"], ["users.id"], name=op.f("fk_campaign_reviews_made_by_id_users")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_campaign_reviews")),
    )
    op.create_index(op.f("ix_campaign_reviews_packing_id"), "campaign_reviews", ["packing_id"])
    op.create_table(
        "signatures",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("review_id", sa.Integer(), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("full_name", sa.String(length=120), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("meaning", sa.String(length=40), nullable=False),
        sa.Column("signed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("content_sha256", sa.String(length=64), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(
            ["review_id"], ["campaign_reviews.id"], name=op.f("fk_signatures_review_id_campaign_reviews")
        ),
        sa.ForeignKeyConstraint(["user_id"], ["users.id"], name=op.f("fk_signatures_user_id_users")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_signatures")),
        sa.UniqueConstraint("review_id", "meaning", name=op.f("uq_signatures_review_id_meaning")),
        sa.UniqueConstraint("review_id", "user_id", name=op.f("uq_signatures_review_id_user_id")),
    )
    op.create_index(op.f("ix_signatures_user_id"), "signatures", ["user_id"])


def downgrade() -> None:
    """Go back."""
    op.drop_table("signatures")
    op.drop_table("campaign_reviews")
