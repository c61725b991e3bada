"""Notices wait in an outbox for their routes.

Revision: notices_wait_in_an_outbox.
"""

import sqlalchemy as sa
from alembic import op

revision = "notices_wait_in_an_outbox"
down_revision = "passwords_and_tokens_are_bounded"
branch_labels = None
depends_on = None

MOMENT = sa.DateTime(timezone=True)


def upgrade() -> None:
    """Go forward."""
    op.create_table(
        "notice_routes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(80), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("target", sa.Text(), nullable=False),
        sa.Column("secret", sa.String(64), nullable=False),
        sa.Column("area", sa.String(60), nullable=False),
        sa.Column("column_id", sa.Integer(), nullable=True),
        sa.Column("least_level", sa.String(8), nullable=False),
        sa.Column("zone", sa.String(64), nullable=False),
        sa.Column("digest_minute", sa.Integer(), nullable=True),
        sa.Column("quiet_from_minute", sa.Integer(), nullable=True),
        sa.Column("quiet_until_minute", sa.Integer(), nullable=True),
        sa.Column("action_in_quiet", sa.Boolean(), nullable=False),
        sa.Column("escalate_after_minutes", sa.Integer(), nullable=True),
        sa.Column("escalate_to_id", sa.Integer(), nullable=True),
        sa.Column("enabled", sa.Boolean(), nullable=False),
        _check("kind in ('email', 'webhook', 'chat')", "notice_routes_known_kind"),
        _check("least_level in ('alert', 'action')", "notice_routes_known_level"),
        _check("digest_minute >= 0 and digest_minute < 1440", "notice_routes_digest_in_a_day"),
        _check("quiet_from_minute >= 0 and quiet_from_minute < 1440", "notice_routes_quiet_from_in_a_day"),
        _check("quiet_until_minute >= 0 and quiet_until_minute < 1440", "notice_routes_quiet_until_in_a_day"),
        _check(
            "(quiet_from_minute is null) = (quiet_until_minute is null)", "notice_routes_quiet_has_both_ends"
        ),
        _check(
            "(escalate_to_id is null) = (escalate_after_minutes is null)", "notice_routes_escalation_is_whole"
        ),
        _check("escalate_after_minutes > 0", "notice_routes_escalation_takes_time"),
        _foreign("notice_routes", "column_id", "columns"),
        _foreign("notice_routes", "escalate_to_id", "notice_routes"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_notice_routes")),
        sa.UniqueConstraint("name", name=op.f("uq_notice_routes_name")),
    )
    op.create_table(
        "notices",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("alert_id", sa.Integer(), nullable=True),
        sa.Column("event", sa.String(16), nullable=False),
        sa.Column("route_id", sa.Integer(), nullable=False),
        sa.Column("level", sa.String(8), nullable=False),
        sa.Column("state", sa.String(8), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("due_at", MOMENT, nullable=False),
        sa.Column("next_attempt_at", MOMENT, nullable=False),
        sa.Column("claim", sa.String(32), nullable=False),
        sa.Column("last_error", sa.Text(), nullable=False),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("sent_at", MOMENT, nullable=True),
        _check("event in ('raised', 'worsened', 'escalated', 'test')", "notices_known_event"),
        _check("(event = 'test') = (alert_id is null)", "notices_only_tests_lack_an_alert"),
        _check("level in ('alert', 'action', '')", "notices_known_level"),
        _check("state in ('waiting', 'sending', 'sent', 'failed')", "notices_known_state"),
        _check("(state = 'sent') = (sent_at is not null)", "notices_sent_has_a_time"),
        _foreign("notices", "alert_id", "alerts"),
        _foreign("notices", "route_id", "notice_routes"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_notices")),
        sa.UniqueConstraint(
            "alert_id", "event", "route_id", "level", name=op.f("uq_notices_alert_id_event_route_id_level")
        ),
    )
    op.create_index("ix_notices_route_id", "notices", ["route_id"])
    op.create_index("ix_notices_state_next_attempt_at", "notices", ["state", "next_attempt_at"])


def downgrade() -> None:
    """Go back."""
    op.drop_table("notices")
    op.drop_table("notice_routes")


def _check(rule: str, name: str) -> sa.CheckConstraint:
    return sa.CheckConstraint(rule, name=op.f(f"ck_{name}"))


def _foreign(table: str, column: str, other: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [f"{other}.id"], name=op.f(f"fk_{table}_{column}_{other}"))
