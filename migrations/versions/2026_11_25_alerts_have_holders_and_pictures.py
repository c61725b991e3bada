"""An alert is assigned to somebody, and holds pictures of what was seen.

Revision: alerts_have_holders_and_pictures, after pulse_tests_have_criteria.
"""

import sqlalchemy as sa
from alembic import op

revision = "alerts_have_holders_and_pictures"
down_revision = "pulse_tests_have_criteria"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Go forward; not by copying the table, which others point to."""
    op.execute(
        "alter table alerts add column assigned_to_id integer "
        "constraint fk_alerts_assigned_to_id_users references users (id)"
    )
    op.create_table(
        "alert_pictures",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("alert_id", sa.Integer(), nullable=False),
        sa.Column("trace_id", sa.Integer(), nullable=False),
        sa.Column("media_type", sa.String(20), nullable=False),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("added_by_id", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_alert_pictures")),
        sa.ForeignKeyConstraint(["alert_id"], ["alerts.id"], name=op.f("fk_alert_pictures_alert_id_alerts")),
        sa.ForeignKeyConstraint(["trace_id"], ["traces.id"], name=op.f("fk_alert_pictures_trace_id_traces")),
        sa.ForeignKeyConstraint(
            ["added_by_id"], ["users.id"], name=op.f("fk_alert_pictures_added_by_id_users")
        ),
    )
    for column in ("alert_id", "trace_id"):
        op.create_index(op.f(f"ix_alert_pictures_{column}"), "alert_pictures", [column])


def downgrade() -> None:
    """Go back."""
    op.drop_table("alert_pictures")
    op.execute("alter table alerts drop column assigned_to_id")
