"""What pages ask of a large table is found by an index, whatever was voided.

Revision: large_tables_are_indexed, after pulse_tests_are_recomputed.
"""

from alembic import op

revision = "large_tables_are_indexed"
down_revision = "pulse_tests_are_recomputed"
branch_labels = None
depends_on = None

INDEXES = {
    "ix_cycles_packing_id_number": ["packing_id", "number"],
    "ix_cycles_logged_by_id_logged_at": ["logged_by_id", "logged_at"],
}


def upgrade() -> None:
    """Go forward."""
    for name, columns in INDEXES.items():
        op.create_index(name, "cycles", columns)


def downgrade() -> None:
    """Go back."""
    for name in reversed(INDEXES):
        op.drop_index(name, table_name="cycles")
