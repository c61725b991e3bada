"""A cycle can be left out of the statistics of its bed, with a reason.

Revision: cycles_can_be_excluded, after notices_wait_in_an_outbox.
"""

from alembic import op

revision = "cycles_can_be_excluded"
down_revision = "notices_wait_in_an_outbox"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Go forward; not by copying the table, which others point to."""
    moment = "datetime" if op.get_bind().dialect.name == "sqlite" else "timestamp with time zone"
    op.execute(f"alter table cycles add column excluded_at {moment}")
    op.execute(
        "alter table cycles add column excluded_by_id integer "
        "constraint fk_cycles_excluded_by_id_users references users (id)"
    )
    op.execute(
        "alter table cycles add column excluded_reason text default '' not null "
        "constraint ck_cycles_exclusion_has_reason check ((excluded_at is null) = (excluded_reason = ''))"
    )


def downgrade() -> None:
    """Go back."""
    for name in ("excluded_reason", "excluded_by_id", "excluded_at"):
        op.execute(f"alter table cycles drop column {name}")
