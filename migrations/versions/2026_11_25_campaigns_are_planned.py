"""Campaigns are planned, so that the review before them is due.

Revision: campaigns_are_planned, after sites_choose_their_checks.
"""

import sqlalchemy as sa
from alembic import op

revision = "campaigns_are_planned"
down_revision = "sites_choose_their_checks"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Go forward."""
    op.create_table(
        "planned_campaigns",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("packing_id", sa.Integer(), nullable=False),
        sa.Column("product", sa.String(length=80), nullable=False),
        sa.Column("cycles", sa.Integer(), nullable=False),
        sa.Column("starts_on", sa.Date(), nullable=False),
        sa.Column("made_by_id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("called_off_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("called_off_reason", sa.Text(), nullable=False),
        sa.CheckConstraint("cycles > 0 and cycles <= 600", name=op.f("ck_planned_campaigns_cycles_possible")),
        sa.CheckConstraint(
            "(called_off_at is null) = (called_off_reason = '')",
            name=op.f("ck_planned_campaigns_calling_off_has_reason"),
        ),
        sa.ForeignKeyConstraint(
            ["packing_id"], ["packings.id"], name=op.f("fk_planned_campaigns_packing_id_packings")
        ),
        sa.ForeignKeyConstraint(
            ["made_by_id"], ["users.id"], name=op.f("fk_planned_campaigns_made_by_id_users")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_planned_campaigns")),
    )
    for name in ("packing_id", "made_by_id"):
        op.create_index(op.f(f"ix_planned_campaigns_{name}"), "planned_campaigns", [name])


def downgrade() -> None:
    """Go back."""
    for name in ("made_by_id", "packing_id"):
        op.drop_index(op.f(f"ix_planned_campaigns_{name}"), table_name="planned_campaigns")
    op.drop_table("planned_campaigns")
