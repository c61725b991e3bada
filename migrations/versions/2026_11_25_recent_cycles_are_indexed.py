"""The runs of the last weeks are found without reading those of all years.

Revision: recent_cycles_are_indexed, after large_tables_are_indexed.
"""

from alembic import op

revision = "recent_cycles_are_indexed"
down_revision = "large_tables_are_indexed"
branch_labels = None
depends_on = None

NAME = "ix_cycles_started_at_packing_id"


def upgrade() -> None:
    """Go forward."""
    op.create_index(NAME, "cycles", ["started_at", "packing_id"])


def downgrade() -> None:
    """Go back."""
    op.drop_index(NAME, table_name="cycles")
