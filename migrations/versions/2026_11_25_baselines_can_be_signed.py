"""A version of a baseline can be signed.

Revision: baselines_can_be_signed, after cycles_can_be_excluded.
"""

from alembic import op

revision = "baselines_can_be_signed"
down_revision = "cycles_can_be_excluded"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Go forward; not by copying the table, which others point to."""
    moment = "datetime" if op.get_bind().dialect.name == "sqlite" else "timestamp with time zone"
    op.execute(f"alter table baselines add column signed_at {moment}")
    op.execute(
        "alter table baselines add column signed_sha256 varchar(64) constraint "
        "ck_baselines_signature_has_hash check ((signed_at is null) = (signed_sha256 is null))"
    )


def downgrade() -> None:
    """Go back."""
    for name in ("signed_sha256", "signed_at"):
        op.execute(f"alter table baselines drop column {name}")
