"""Stored traces can be analysed again; new results stand beside the old ones.

Revision: results_can_be_recomputed, after packings_know_their_making.
"""

import sqlalchemy as sa
from alembic import op

revision = "results_can_be_recomputed"
down_revision = "packings_know_their_making"
branch_labels = None
depends_on = None

MOMENT = sa.DateTime(timezone=True)


def upgrade() -> None:
    """Go forward."""
    op.create_table(
        "recomputations",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("column_tag", sa.String(60), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("method", sa.String(60), nullable=False),
        sa.Column("method_version", sa.String(20), nullable=False),
        sa.Column("state", sa.String(12), nullable=False),
        sa.Column("started_at", MOMENT, nullable=False),
        sa.Column("started_by_id", sa.Integer(), nullable=False),
        sa.Column("ended_at", MOMENT, nullable=True),
        _check("state in ('running', 'finished', 'given up')", "recomputations_known_state"),
        _check("(state = 'running') = (ended_at is null)", "recomputations_ended_has_a_time"),
        _check("reason <> ''", "recomputations_has_reason"),
        _foreign("recomputations", "started_by_id", "users"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recomputations")),
    )
    op.create_index(
        "uq_recomputations_running",
        "recomputations",
        ["state"],
        unique=True,
        sqlite_where=sa.text("state = 'running'"),
        postgresql_where=sa.text("state = 'running'"),
    )
    op.create_table(
        "recomputed_beds",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recomputation_id", sa.Integer(), nullable=False),
        sa.Column("packing_id", sa.Integer(), nullable=False),
        sa.Column("finished_at", MOMENT, nullable=True),
        sa.Column("report", sa.JSON(), nullable=False),
        _foreign("recomputed_beds", "recomputation_id", "recomputations"),
        _foreign("recomputed_beds", "packing_id", "packings"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recomputed_beds")),
        _unique("recomputed_beds", "recomputation_id", "packing_id"),
    )
    op.create_table(
        "recomputed_cycles",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recomputation_id", sa.Integer(), nullable=False),
        sa.Column("cycle_id", sa.Integer(), nullable=False),
        sa.Column("outcome", sa.String(12), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("conditions", sa.JSON(), nullable=False),
        sa.Column("earlier_conditions", sa.JSON(), nullable=True),
        _check("outcome in ('new', 'unchanged', 'skipped')", "recomputed_cycles_known_outcome"),
        _check("(outcome = 'skipped') = (why <> '')", "recomputed_cycles_skipped_has_reason"),
        _foreign("recomputed_cycles", "recomputation_id", "recomputations"),
        _foreign("recomputed_cycles", "cycle_id", "cycles"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recomputed_cycles")),
        _unique("recomputed_cycles", "recomputation_id", "cycle_id"),
    )
    op.create_index("ix_recomputed_cycles_cycle_id", "recomputed_cycles", ["cycle_id"])
    # not by copying the table, which may be large
    op.execute(
        "alter table transitions add column recomputation_id integer "
        "constraint fk_transitions_recomputation_id_recomputations references recomputations (id)"
    )


def downgrade() -> None:
    """Go back; what counted at the end still counts."""
    op.execute("alter table transitions drop column recomputation_id")
    for table in ("recomputed_cycles", "recomputed_beds", "recomputations"):
        op.drop_table(table)


def _check(rule: str, name: str) -> sa.CheckConstraint:
    return sa.CheckConstraint(rule, name=op.f(f"ck_{name}"))


def _foreign(table: str, column: str, other: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [f"{other}.id"], name=op.f(f"fk_{table}_{column}_{other}"))


def _unique(table: str, *columns: str) -> sa.UniqueConstraint:
    return sa.UniqueConstraint(*columns, name=op.f(f"uq_{table}_{'_'.join(columns)}"))
