"""A site sets its own criteria of pulse tests, and what is read from a peak; each change is a version.

Revision: pulse_tests_have_criteria, after campaigns_are_planned.
"""

import sqlalchemy as sa
from alembic import op

revision = "pulse_tests_have_criteria"
down_revision = "campaigns_are_planned"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Go forward; until a site sets its own, what is shipped holds."""
    op.create_table(
        "pulse_criteria",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("criteria", sa.JSON(), nullable=False),
        sa.Column("settings", sa.JSON(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["made_by_id"], ["users.id"], name="fk_pulse_criteria_made_by_id_users"),
        sa.PrimaryKeyConstraint("id", name="pk_pulse_criteria"),
        sa.UniqueConstraint("version", name="uq_pulse_criteria_version"),
    )


def downgrade() -> None:
    """Go back."""
    op.drop_table("pulse_criteria")
