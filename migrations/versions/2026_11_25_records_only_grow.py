"""Records can be added, never altered or taken away, whoever connects.

Revision: records_only_grow, after first_tables.
"""

from alembic import op

revision = "records_only_grow"
down_revision = "first_tables"
branch_labels = None
depends_on = None

SAYING = "records can only be added"


def upgrade() -> None:
    """Go forward."""
    if op.get_bind().dialect.name == "sqlite":
        for verb in ("update", "delete"):
            op.execute(
                f"create trigger records_no_{verb} before {verb} on records "
                f"begin select raise(abort, '{SAYING}'); end"
            )
        return
    op.execute(
        "create function records_only_grow() returns trigger language plpgsql as "
        f"$$ begin raise exception '{SAYING}'; end $$"
    )
    op.execute(
        "create trigger records_only_grow before update or delete or truncate on records "
        "for each statement execute function records_only_grow()"
    )


def downgrade() -> None:
    """Go back."""
    if op.get_bind().dialect.name == "sqlite":
        for verb in ("update", "delete"):
            op.execute(f"drop trigger records_no_{verb}")
        return
    op.execute("drop trigger records_only_grow on records")
    op.execute("drop function records_only_grow()")
