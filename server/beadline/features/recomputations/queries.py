"""Reading recomputations, and what is left of them to do."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import func, select, text
from sqlalchemy.orm import Session, joinedload, undefer

from beadline.features.cycles.queries import FROM_FILE
from beadline.store.tables import (
    Column,
    Cycle,
    Packing,
    PulseTest,
    Recomputation,
    RecomputedBed,
    RecomputedCycle,
    ResinLot,
    Transition,
)

LOCK = 7_305_119  # any fixed number: under it beds are held that are being worked on


def running(session: Session) -> Recomputation | None:
    """Return the recomputation that is not at its end."""
    query = select(Recomputation).where(Recomputation.state == "running")
    return session.scalars(query.options(joinedload(Recomputation.started_by))).first()


def by_id(session: Session, recomputation_id: int) -> Recomputation | None:
    """Return a recomputation with who began it."""
    query = select(Recomputation).where(Recomputation.id == recomputation_id)
    return session.scalars(query.options(joinedload(Recomputation.started_by))).first()


def locked(session: Session, recomputation_id: int) -> Recomputation:
    """Return a recomputation that nobody else changes until this transaction ends."""
    query = select(Recomputation).where(Recomputation.id == recomputation_id).with_for_update()
    return session.scalars(query.execution_options(populate_existing=True)).one()


def newest(session: Session, *, limit: int, offset: int) -> Sequence[tuple[Recomputation, int, int]]:
    """Return recomputations, newest first, each with how many beds it has and how many are finished."""
    of_it = RecomputedBed.recomputation_id == Recomputation.id
    beds = select(func.count()).where(of_it).scalar_subquery()
    finished = select(func.count()).where(of_it, RecomputedBed.finished_at.is_not(None)).scalar_subquery()
    query = select(Recomputation, beds, finished).options(joinedload(Recomputation.started_by))
    query = query.order_by(Recomputation.id.desc()).limit(limit).offset(offset)
    return [(row[0], row[1], row[2]) for row in session.execute(query)]


def count(session: Session) -> int:
    """Return how many recomputations there were."""
    return session.scalars(select(func.count()).select_from(Recomputation)).one()


def beds(session: Session, recomputation_id: int) -> Sequence[RecomputedBed]:
    """Return the beds of a recomputation, each with its column."""
    query = select(RecomputedBed).where(RecomputedBed.recomputation_id == recomputation_id)
    whole = joinedload(RecomputedBed.packing).joinedload(Packing.column)
    return session.scalars(query.options(whole).order_by(RecomputedBed.id)).all()


def bed(session: Session, recomputation_id: int, packing_id: int) -> RecomputedBed:
    """Return a bed of a recomputation."""
    query = select(RecomputedBed).where(RecomputedBed.recomputation_id == recomputation_id)
    return session.scalars(query.where(RecomputedBed.packing_id == packing_id)).one()


def packings_with_traces(session: Session, column_tag: str) -> Sequence[Packing]:
    """Return the packings that have cycles or pulse tests, of one column or of all, by column and number."""
    cycles = select(Cycle.id).where(Cycle.packing_id == Packing.id).exists()
    tests = select(PulseTest.id).where(PulseTest.packing_id == Packing.id).exists()
    query = select(Packing).join(Packing.column).where(cycles | tests).order_by(Column.name, Packing.number)
    if column_tag:
        query = query.where(Column.asset_tag == column_tag)
    whole = (joinedload(Packing.column), joinedload(Packing.lot).joinedload(ResinLot.resin))
    return session.scalars(query.options(*whole, joinedload(Packing.step_plan))).all()


def open_packings(session: Session, recomputation_id: int) -> Sequence[int]:
    """Return the beds whose new results do not count yet."""
    query = select(RecomputedBed.packing_id).where(RecomputedBed.recomputation_id == recomputation_id)
    return session.scalars(query.where(RecomputedBed.finished_at.is_(None)).order_by(RecomputedBed.id)).all()


def can_hold(session: Session) -> bool:
    """Tell whether the database can hold a bed for a process without holding off writers."""
    return session.get_bind().dialect.name == "postgresql"


def hold(session: Session, packing_id: int) -> bool:
    """Hold a bed until this transaction ends, unless another process does; true too where nothing can."""
    if not can_hold(session):
        return True
    said = text("select pg_try_advisory_xact_lock(:lock, :packing)")
    return bool(session.execute(said, {"lock": LOCK, "packing": packing_id}).scalar_one())


def left_to_do(session: Session, recomputation_id: int | None, packing_id: int) -> Sequence[Cycle]:
    """Return a bed's cycles from files that were not analysed yet, in order, with their traces' names."""
    done = select(RecomputedCycle.id).where(
        RecomputedCycle.cycle_id == Cycle.id, RecomputedCycle.recomputation_id == recomputation_id
    )
    query = select(Cycle).where(Cycle.packing_id == packing_id, Cycle.voided_at.is_(None), FROM_FILE)
    return session.scalars(query.where(~done.exists()).order_by(Cycle.number)).all()


def outcomes(session: Session, recomputation_id: int, packing_id: int) -> Sequence[RecomputedCycle]:
    """Return what came of a bed's cycles so far."""
    query = select(RecomputedCycle).join(Cycle, Cycle.id == RecomputedCycle.cycle_id)
    query = query.where(RecomputedCycle.recomputation_id == recomputation_id)
    return session.scalars(query.where(Cycle.packing_id == packing_id)).all()


def known(session: Session, recomputation_id: int, cycle_ids: Sequence[int]) -> set[int]:
    """Return those of some cycles whose outcome is recorded."""
    query = select(RecomputedCycle.cycle_id).where(RecomputedCycle.recomputation_id == recomputation_id)
    return set(session.scalars(query.where(RecomputedCycle.cycle_id.in_(cycle_ids))))


def waiting(session: Session, recomputation_id: int, packing_id: int) -> Sequence[Transition]:
    """Return a bed's new results, which may not count yet, with their curves."""
    query = select(Transition).join(Cycle, Cycle.id == Transition.cycle_id)
    query = query.where(Cycle.packing_id == packing_id, Transition.recomputation_id == recomputation_id)
    return session.scalars(query.options(undefer(Transition.fraction)).order_by(Transition.id)).all()


def newest_revisions(session: Session, cycle_ids: Sequence[int]) -> dict[tuple[int, str], int]:
    """Return the highest revision of each transition of some cycles, by cycle and name."""
    query = select(Transition.cycle_id, Transition.name, func.max(Transition.revision))
    query = query.where(Transition.cycle_id.in_(cycle_ids)).group_by(Transition.cycle_id, Transition.name)
    return {(row[0], row[1]): row[2] for row in session.execute(query)}


def uncounted_cycles(session: Session, packing_id: int) -> tuple[int, int]:
    """Return how many of a bed's cycles are voided, and how many others were typed by hand."""
    voided = select(func.count()).where(Cycle.packing_id == packing_id, Cycle.voided_at.is_not(None))
    typed = select(func.count()).where(Cycle.packing_id == packing_id, Cycle.voided_at.is_(None), ~FROM_FILE)
    return session.scalars(voided).one(), session.scalars(typed).one()


def cycles(session: Session, cycle_ids: Sequence[int]) -> Sequence[Cycle]:
    """Return some cycles of a bed, in order."""
    return session.scalars(select(Cycle).where(Cycle.id.in_(cycle_ids)).order_by(Cycle.number)).all()


def early(
    session: Session, recomputation_id: int, packing_id: int, numbers: Sequence[int]
) -> Sequence[tuple[int, Transition]]:
    """Return cycle number and new result with its curve, of some cycles that are not excluded."""
    query = select(Cycle.number, Transition).join(Cycle, Cycle.id == Transition.cycle_id)
    query = query.where(Cycle.packing_id == packing_id, Cycle.number.in_(numbers))
    query = query.where(Cycle.voided_at.is_(None), Cycle.excluded_at.is_(None))
    query = query.where(Transition.recomputation_id == recomputation_id).options(undefer(Transition.fraction))
    return [(row[0], row[1]) for row in session.execute(query)]
