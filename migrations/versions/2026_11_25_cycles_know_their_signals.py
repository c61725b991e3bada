"""A cycle knows the hash of its signals, so that the same run is known again in another file.

Revision: cycles_know_their_signals, after packings_know_their_pool.
"""

from alembic import op

revision = "cycles_know_their_signals"
down_revision = "packings_know_their_pool"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Go forward; cycles logged before keep an empty hash, which is like no other."""
    op.execute("alter table cycles add column signals_sha256 varchar(64) default '' not null")
    op.create_index("ix_cycles_signals_sha256", "cycles", ["signals_sha256"])


def downgrade() -> None:
    """Go back."""
    op.drop_index("ix_cycles_signals_sha256", table_name="cycles")
    op.execute("alter table cycles drop column signals_sha256")
