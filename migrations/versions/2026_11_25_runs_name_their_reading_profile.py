"""A reading profile knows its layout and why it was made; a run names the profile that read it.

Revision: runs_name_their_reading_profile, after results_can_be_recomputed.
"""

from alembic import op

revision = "runs_name_their_reading_profile"
down_revision = "results_can_be_recomputed"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Go forward; runs recorded before were read by a profile of their own, which they keep."""
    op.execute("alter table reading_profiles add column layout_sha256 varchar(64) default '' not null")
    op.execute("alter table reading_profiles add column why text default '' not null")
    op.create_index("ix_reading_profiles_layout_sha256", "reading_profiles", ["layout_sha256"])
    points_to = "constraint fk_cycles_reading_profile_id_reading_profiles references reading_profiles (id)"
    op.execute(f"alter table cycles add column reading_profile_id integer {points_to}")
    op.create_index("ix_cycles_reading_profile_id", "cycles", ["reading_profile_id"])


def downgrade() -> None:
    """Go back; not by copying the tables, which others point to."""
    op.drop_index("ix_cycles_reading_profile_id", table_name="cycles")
    op.execute("alter table cycles drop column reading_profile_id")
    op.drop_index("ix_reading_profiles_layout_sha256", table_name="reading_profiles")
    for name in ("why", "layout_sha256"):
        op.execute(f"alter table reading_profiles drop column {name}")
