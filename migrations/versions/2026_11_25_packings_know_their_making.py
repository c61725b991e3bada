"""A packing knows its heights, its liquid and how it was packed; a resin knows whether its bed moves.

Revision: packings_know_their_making, after cycles_know_their_signals.
"""

import sqlalchemy as sa
from alembic import op

revision = "packings_know_their_making"
down_revision = "cycles_know_their_signals"
branch_labels = None
depends_on = None

CHOICES = {
    "packed_in": "'', 'water', 'buffer of use', 'strongest liquid of use'",
    "packed_by": "'', 'flow', 'axial compression', 'suction', 'gravity'",
}
HEIGHTS = ("settled_height_mm", "consolidated_height_mm")


def upgrade() -> None:
    """Go forward; what was packed before says nothing of it."""
    number = "double" if op.get_bind().dialect.name == "sqlite" else "double precision"
    for name in HEIGHTS:
        check = f"constraint ck_packings_{name}_possible check ({name} is null or {name} > 0)"
        op.execute(f"alter table packings add column {name} {number} {check}")
    for name, known in CHOICES.items():
        check = f"constraint ck_packings_{name}_known check ({name} in ({known}))"
        op.execute(f"alter table packings add column {name} varchar(30) default '' not null {check}")
    feed = sa.Column("demanding_feed", sa.Boolean(), nullable=False, server_default=sa.false())
    op.add_column("packings", feed)
    op.add_column("resins", sa.Column("swells", sa.Boolean(), nullable=False, server_default=sa.false()))


def downgrade() -> None:
    """Go back; not by copying the tables, which others point to."""
    op.execute("alter table resins drop column swells")
    for name in ("demanding_feed", *CHOICES, *HEIGHTS):
        op.execute(f"alter table packings drop column {name}")
