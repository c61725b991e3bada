"""Reading baselines, judgements and the standing of beds."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import Text, cast, select
from sqlalchemy.orm import Session, aliased, defer, joinedload, undefer

from beadline.store.tables import Baseline, BedState, Cycle, Judgement, Packing, ResinLot, Transition


def baseline(session: Session, packing_id: int, *, with_maker: bool = False) -> Baseline | None:
    """Return the newest version of a packing's baseline settings."""
    query = select(Baseline).where(Baseline.packing_id == packing_id).order_by(Baseline.version.desc())
    if with_maker:
        query = query.options(joinedload(Baseline.made_by))
    return session.scalars(query.limit(1)).first()


def baselines(session: Session, packing_id: int) -> Sequence[Baseline]:
    """Return every version of a packing's baseline settings with who made it, newest first."""
    query = select(Baseline).where(Baseline.packing_id == packing_id).options(joinedload(Baseline.made_by))
    return session.scalars(query.order_by(Baseline.version.desc())).all()


def bed_state(session: Session, packing_id: int) -> BedState | None:
    """Return a bed's standing, without the state that the next judgement starts from."""
    return session.get(BedState, packing_id)


def bed_state_to_go_on(session: Session, packing_id: int) -> BedState | None:
    """Return a bed's standing with the state that the next judgement starts from."""
    query = select(BedState).where(BedState.packing_id == packing_id).options(undefer(BedState.state))
    return session.scalars(query).first()


def bed_states(
    session: Session, packing_ids: Sequence[int], *, with_state: bool = False
) -> dict[int, BedState]:
    """Return the standing of several beds; with the state of their judgement if so asked."""
    query = select(BedState).where(BedState.packing_id.in_(packing_ids))
    if with_state:
        query = query.options(undefer(BedState.state))
    return {state.packing_id: state for state in session.scalars(query)}


def standings(session: Session, packing_ids: Sequence[int]) -> dict[int, tuple[BedState, str]]:
    """Return how several beds stand, without limits, and their beads as JSON, which few pages read anew."""
    query = (
        select(BedState, cast(BedState.beads, Text))
        .where(BedState.packing_id.in_(packing_ids))
        .options(defer(BedState.limits, raiseload=True), defer(BedState.beads, raiseload=True))
    )
    return {state.packing_id: (state, beads) for state, beads in session.execute(query)}


def last_runs(session: Session, packing_ids: Sequence[int]) -> dict[int, tuple[int | None, datetime | None]]:
    """Return number and start of the newest run of several beds, without all else of their standing."""
    query = select(BedState.packing_id, BedState.last_cycle, BedState.last_started_at)
    rows = session.execute(query.where(BedState.packing_id.in_(packing_ids)))
    return {packing_id: (number, started_at) for packing_id, number, started_at in rows}


def sisters(session: Session, packing: Packing, *, most: int) -> Sequence[tuple[Packing, BedState]]:
    """Return the newest other packings of the same resin and step plan, with their columns and standing."""
    own = aliased(ResinLot)
    resin_id = select(own.resin_id).where(own.id == packing.lot_id).scalar_subquery()
    query = (
        select(Packing, BedState)
        .join(BedState, BedState.packing_id == Packing.id)
        .join(Packing.lot)
        .where(Packing.id != packing.id, Packing.step_plan_id == packing.step_plan_id)
        .where(ResinLot.resin_id == resin_id, BedState.cycles > 0)
        .options(joinedload(Packing.column), undefer(BedState.state))
        .order_by(Packing.packed_at.desc(), Packing.id)
        .limit(most)
    )
    return [(sister, standing) for sister, standing in session.execute(query)]


def results(
    session: Session, packing_id: int, *, numbers: Sequence[int]
) -> Sequence[tuple[Cycle, Transition]]:
    """Return the present results of some cycles of a packing, without their curves."""
    query = (
        select(Cycle, Transition)
        .join(Transition, Transition.cycle_id == Cycle.id)
        .where(Cycle.packing_id == packing_id, Cycle.voided_at.is_(None), Cycle.number.in_(numbers))
        .where(Transition.superseded.is_(False))
        .order_by(Cycle.number, Transition.position)
    )
    return [(cycle, row) for cycle, row in session.execute(query)]


def of_packing(session: Session, packing_id: int) -> dict[int, Judgement]:
    """Return the judgements of a packing's cycles, by the cycle's id."""
    query = select(Judgement).join(Cycle, Cycle.id == Judgement.cycle_id)
    query = query.where(Cycle.packing_id == packing_id, Cycle.voided_at.is_(None))
    return {judgement.cycle_id: judgement for judgement in session.scalars(query)}


def of_cycles(session: Session, cycle_ids: Sequence[int]) -> dict[int, Judgement]:
    """Return the judgements of some cycles, by the cycle's id."""
    query = select(Judgement).where(Judgement.cycle_id.in_(cycle_ids))
    return {judgement.cycle_id: judgement for judgement in session.scalars(query)}


def of_cycle(session: Session, cycle_id: int) -> Judgement | None:
    """Return the judgement of a cycle."""
    return session.scalars(select(Judgement).where(Judgement.cycle_id == cycle_id)).first()
