"""A password can be temporary, and a token can be for a part of what its owner may do.

Revision: passwords_and_tokens_are_bounded, after records_only_grow.
"""

import sqlalchemy as sa
from alembic import op

revision = "passwords_and_tokens_are_bounded"
down_revision = "records_only_grow"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Go forward."""
    temporary = sa.Column("password_is_temporary", sa.Boolean(), nullable=False, server_default=sa.false())
    op.add_column("users", temporary)
    op.add_column("api_tokens", sa.Column("scope", sa.String(16), nullable=False, server_default="all"))


def downgrade() -> None:
    """Go back; not by copying the tables, which others point to."""
    op.execute("alter table api_tokens drop column scope")
    op.execute("alter table users drop column password_is_temporary")
