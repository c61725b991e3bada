"""Routes sign the links in their messages, each with a key of its own.

Revision: routes_sign_their_links, after answers_are_kept.
"""

import secrets

import sqlalchemy as sa
from alembic import op

revision = "routes_sign_their_links"
down_revision = "answers_are_kept"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Go forward."""
    op.add_column("notice_routes", sa.Column("link_key", sa.String(64), nullable=False, server_default=""))
    connection = op.get_bind()
    known = sa.text("select id from notice_routes")
    signing = sa.text("update notice_routes set link_key = :key where id = :id")
    for (route_id,) in connection.execute(known).fetchall():
        connection.execute(signing, {"key": secrets.token_hex(32), "id": route_id})


def downgrade() -> None:
    """Go back."""
    op.execute("alter table notice_routes drop column link_key")
