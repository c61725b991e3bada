"""Cleaning and maintenance are noted with their bed.

Revision: beds_have_events, after alerts_have_holders_and_pictures.
"""

import sqlalchemy as sa
from alembic import op

revision = "beds_have_events"
down_revision = "alerts_have_holders_and_pictures"
branch_labels = None
depends_on = None

KINDS = (
    "'cleaned in place', 'sanitised', 'storage solution changed', 'adapter adjusted', 'frit changed', "
    "'probe calibrated', 'probe replaced', 'pump serviced', 'column levelled', 'opened and inspected', "
    "'other work'"
)
STANDS = sa.text("voided_at is null")
INDEXED = ("packing_id", "replaces_id", "noted_by_id")


def upgrade() -> None:
    """Go forward."""
    op.create_table(
        "bed_events",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("packing_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("happened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("after_cycle", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("noted_by_id", sa.Integer(), nullable=False),
        sa.Column("noted_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("voided_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("void_reason", sa.Text(), server_default="", nullable=False),
        sa.CheckConstraint(f"kind in ({KINDS})", name=op.f("ck_bed_events_known_kind")),
        sa.CheckConstraint(
            "after_cycle is null or after_cycle >= 0", name=op.f("ck_bed_events_after_cycle_possible")
        ),
        sa.CheckConstraint(
            "kind <> 'other work' or note <> ''", name=op.f("ck_bed_events_other_work_is_named")
        ),
        sa.CheckConstraint(
            "(voided_at is null) = (void_reason = '')", name=op.f("ck_bed_events_void_has_reason")
        ),
        sa.ForeignKeyConstraint(
            ["packing_id"], ["packings.id"], name=op.f("fk_bed_events_packing_id_packings")
        ),
        sa.ForeignKeyConstraint(
            ["replaces_id"], ["bed_events.id"], name=op.f("fk_bed_events_replaces_id_bed_events")
        ),
        sa.ForeignKeyConstraint(["noted_by_id"], ["users.id"], name=op.f("fk_bed_events_noted_by_id_users")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bed_events")),
    )
    for name in INDEXED:
        op.create_index(op.f(f"ix_bed_events_{name}"), "bed_events", [name])
    op.create_index(
        "uq_bed_events_packing_kind_time",
        "bed_events",
        ["packing_id", "kind", "happened_at"],
        unique=True,
        sqlite_where=STANDS,
        postgresql_where=STANDS,
    )


def downgrade() -> None:
    """Go back."""
    op.drop_index("uq_bed_events_packing_kind_time", table_name="bed_events")
    for name in reversed(INDEXED):
        op.drop_index(op.f(f"ix_bed_events_{name}"), table_name="bed_events")
    op.drop_table("bed_events")
