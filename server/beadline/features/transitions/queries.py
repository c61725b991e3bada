"""Reading transitions and step plans."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import select
from sqlalchemy.orm import Session, defer, load_only, undefer

from beadline.store.tables import Cycle, StepPlan, Transition


def plan_named(session: Session, name: str) -> StepPlan | None:
    """Return the newest version of a step plan."""
    query = select(StepPlan).where(StepPlan.name == name.strip()).order_by(StepPlan.version.desc())
    return session.scalars(query.limit(1)).first()


def plans(session: Session) -> Sequence[StepPlan]:
    """Return all step plans."""
    return session.scalars(select(StepPlan).order_by(StepPlan.name, StepPlan.version)).all()


def of_packing(
    session: Session, packing_id: int, *, with_curves: bool = False, with_recipe: bool = True
) -> Sequence[Transition]:
    """Return the present results of all cycles of a packing in order, without its recipe if so asked."""
    query = (
        select(Transition)
        .join(Cycle, Cycle.id == Transition.cycle_id)
        .where(Cycle.packing_id == packing_id, Cycle.voided_at.is_(None), Transition.superseded.is_(False))
        .order_by(Cycle.number, Transition.position)
    )
    if with_curves:
        query = query.options(undefer(Transition.fraction))
    if not with_recipe:
        recipe = (Transition.plan, Transition.settings, Transition.how_found)
        query = query.options(*(defer(column, raiseload=True) for column in recipe))
    return session.scalars(query).all()


def of_cycle(session: Session, cycle_id: int) -> Sequence[Transition]:
    """Return the present results of a cycle with curves and working."""
    query = select(Transition).where(Transition.cycle_id == cycle_id, Transition.superseded.is_(False))
    loaded = (undefer(Transition.fraction), undefer(Transition.density_per_cv), undefer(Transition.working))
    return session.scalars(query.options(*loaded).order_by(Transition.position)).all()


def of_cycles(session: Session, cycle_ids: Sequence[int]) -> Sequence[Transition]:
    """Return the present results of some cycles without curves, also of those that were voided."""
    query = select(Transition).where(Transition.cycle_id.in_(cycle_ids), Transition.superseded.is_(False))
    return session.scalars(query.order_by(Transition.cycle_id, Transition.position)).all()


def early_curves(
    session: Session, packing_id: int, *, cycles: Sequence[int]
) -> Sequence[tuple[int, str, NDArray[np.float64] | None]]:
    """Return number, transition and curve of some cycles, of the usable results that count, in order."""
    query = (
        select(Cycle.number, Transition.name, Transition.fraction)
        .join(Cycle, Cycle.id == Transition.cycle_id)
        .where(Cycle.packing_id == packing_id, Cycle.voided_at.is_(None), Cycle.excluded_at.is_(None))
        .where(Transition.superseded.is_(False), Transition.usable, Transition.fraction.is_not(None))
        .where(Cycle.number.in_(cycles))
        .order_by(Cycle.number, Transition.position)
    )
    return [(number, name, fraction) for number, name, fraction in session.execute(query)]


def densities(session: Session, packing_id: int, name: str) -> Sequence[tuple[int, Transition]]:
    """Return cycle number and usable result of one transition, with nothing but its density and settings."""
    query = (
        select(Cycle.number, Transition)
        .join(Cycle, Cycle.id == Transition.cycle_id)
        .where(Cycle.packing_id == packing_id, Cycle.voided_at.is_(None), Transition.name == name)
        .where(Transition.superseded.is_(False), Transition.usable, Transition.density_per_cv.is_not(None))
        .options(load_only(Transition.settings, Transition.density_per_cv, raiseload=True))
        .order_by(Cycle.number)
    )
    return [(number, transition) for number, transition in session.execute(query)]


def curves(
    session: Session,
    packing_id: int,
    *,
    name: str | None = None,
    cycles: Sequence[int] | None = None,
    excluded: bool = True,
) -> Sequence[tuple[int, Transition]]:
    """Return cycle number and usable result with its curve.

    Of one transition, of some cycles, or without the excluded cycles, if so asked.
    """
    query = (
        select(Cycle.number, Transition)
        .join(Cycle, Cycle.id == Transition.cycle_id)
        .where(Cycle.packing_id == packing_id, Cycle.voided_at.is_(None))
        .where(Transition.superseded.is_(False), Transition.usable, Transition.fraction.is_not(None))
        .options(undefer(Transition.fraction), undefer(Transition.density_per_cv))
        .order_by(Cycle.number, Transition.position)
    )
    if name is not None:
        query = query.where(Transition.name == name)
    if cycles is not None:
        query = query.where(Cycle.number.in_(cycles))
    if not excluded:
        query = query.where(Cycle.excluded_at.is_(None))
    return [(number, transition) for number, transition in session.execute(query)]
