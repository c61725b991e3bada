"""An account can be opened through the site's identity provider.

Revision: people_can_sign_on, after beds_have_events.
"""

from alembic import op

revision = "people_can_sign_on"
down_revision = "beds_have_events"
branch_labels = None
depends_on = None

INDEXES = {
    "ix_users_provider_name": ["provider_name"],
    "ix_users_provider_issuer_provider_subject": ["provider_issuer", "provider_subject"],
}


def upgrade() -> None:
    """Go forward; not by copying the table, which others point to."""
    op.execute("alter table users add column provider_name varchar(200)")
    op.execute("alter table users add column provider_issuer varchar(500)")
    op.execute(
        "alter table users add column provider_subject varchar(255) "
        "constraint ck_users_bound_whole check ((provider_issuer is null) = (provider_subject is null)"
        " and (provider_subject is null or provider_name is not null))"
    )
    for name, columns in INDEXES.items():
        op.create_index(name, "users", columns, unique=True)


def downgrade() -> None:
    """Go back."""
    for name in INDEXES:
        op.drop_index(name, "users")
    for column in ("provider_subject", "provider_issuer", "provider_name"):
        op.execute(f"alter table users drop column {column}")
