"""Pulse tests are recomputed too; what counted before is kept beside.

Revision: pulse_tests_are_recomputed, after people_can_sign_on.
"""

import sqlalchemy as sa
from alembic import op

revision = "pulse_tests_are_recomputed"
down_revision = "people_can_sign_on"
branch_labels = None
depends_on = None

TABLE = "earlier_pulse_results"


def upgrade() -> None:
    """Go forward."""
    op.create_table(
        TABLE,
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("pulse_test_id", sa.Integer(), nullable=False),
        sa.Column("recomputation_id", sa.Integer(), nullable=False),
        sa.Column("method", sa.String(60), nullable=False),
        sa.Column("method_version", sa.String(20), nullable=False),
        sa.Column("settings", sa.JSON(), nullable=False),
        sa.Column("usable", sa.Boolean(), nullable=False),
        *(sa.Column(name, sa.JSON(), nullable=False) for name in ("estimates", "corrected", "withheld")),
        *(sa.Column(name, sa.JSON(), nullable=False) for name in ("doubts", "working")),
        sa.Column("verdict", sa.String(20), nullable=False),
        sa.Column("checks", sa.JSON(), nullable=False),
        sa.Column("replaced_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{TABLE}")),
        sa.ForeignKeyConstraint(
            ["pulse_test_id"], ["pulse_tests.id"], name=op.f(f"fk_{TABLE}_pulse_test_id_pulse_tests")
        ),
        sa.ForeignKeyConstraint(
            ["recomputation_id"],
            ["recomputations.id"],
            name=op.f(f"fk_{TABLE}_recomputation_id_recomputations"),
        ),
        sa.UniqueConstraint(
            "pulse_test_id", "recomputation_id", name=op.f(f"uq_{TABLE}_pulse_test_id_recomputation_id")
        ),
    )


def downgrade() -> None:
    """Go back."""
    op.drop_table(TABLE)
