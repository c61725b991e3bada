"""A packing knows the pool volume with which its process was qualified.

Revision: packings_know_their_pool, after campaigns_are_reviewed.
"""

import sqlalchemy as sa
from alembic import op

revision = "packings_know_their_pool"
down_revision = "campaigns_are_reviewed"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Go forward."""
    op.add_column("packings", sa.Column("pool_volume_l", sa.Double()))


def downgrade() -> None:
    """Go back; not by copying the table, which others point to."""
    op.execute("alter table packings drop column pool_volume_l")
