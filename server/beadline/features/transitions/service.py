"""Step plans, and the analysis of the transitions that they name."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, replace
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from beadline.features.packings.schemas import Bed
from beadline.features.records import service as records
from beadline.features.transitions import queries
from beadline.features.transitions.schemas import NOT_FOUND, TYPED, Analysed, CurveView, Reference
from beadline.kit.errors import Invalid, NotFound
from beadline.reading import (
    FoundTransition,
    MissingTransition,
    PlannedTransition,
    Signal,
    Trace,
    find_transitions,
    signal_of,
)
from beadline.science import transition as science
from beadline.science.estimates import Doubt, Estimate
from beadline.store.tables import Cycle, StepPlan, Transition, User

Floats = NDArray[np.float64]
REFERENCE_CYCLES = 5  # common practice: the mean of the first 3 to 10 accepted cycles after packing
EARLY_CYCLES = range(1, 3 * REFERENCE_CYCLES + 1)  # those among which they are looked for


def make_plan(
    session: Session,
    *,
    name: str,
    transitions: Sequence[PlannedTransition],
    by: User,
    at: datetime,
    product: str = "",
    reference_flow_m3_s: float | None = None,
) -> StepPlan:
    """Record a step plan; one of a name that exists becomes its next version.

    Raises
    ------
    Invalid
        If no transition is named, or one is named twice.
    """
    names = [transition.name for transition in transitions]
    if not names or len(set(names)) < len(names):
        mend = "Give each transition a name of its own."
        raise Invalid("A step plan needs transitions with different names.", where="transitions", mend=mend)
    older = queries.plan_named(session, name)
    plan = StepPlan(
        name=name.strip(),
        version=older.version + 1 if older else 1,
        product=product,
        transitions=[asdict(transition) for transition in transitions],
        reference_flow_m3_s=reference_flow_m3_s,
    )
    session.add(plan)
    session.flush()  # the record needs its id
    said = f"Recorded step plan {plan.name}, version {plan.version}: {', '.join(names)}"
    records.write(session, by=by, at=at, did="make", thing="step plan", thing_id=plan.id, said=said)
    return plan


def plans(session: Session) -> Sequence[StepPlan]:
    """Return every step plan, by name and version."""
    return queries.plans(session)


def plan(session: Session, plan_id: int) -> StepPlan:
    """Return a step plan.

    Raises
    ------
    NotFound
        If there is none.
    """
    found = next((one for one in queries.plans(session) if one.id == plan_id), None)
    if found is None:
        raise NotFound("No step plan was chosen.", where="step_plan", mend="Choose one of the plans listed.")
    return found


def planned(plan: StepPlan) -> tuple[PlannedTransition, ...]:
    """Return the transitions that a stored plan names."""
    return tuple(PlannedTransition(**entry) for entry in plan.transitions)


def official(plan: Sequence[PlannedTransition]) -> PlannedTransition:
    """Return the transition whose numbers stand for the bed: the first on conductivity, else the first."""
    return next((one for one in plan if one.quantity == "conductivity"), plan[0])


def grid_of(row: Transition) -> Floats:
    """Return the volumes at which a stored curve is given [CV]."""
    return np.linspace(0.0, row.settings["grid_end_cv"], row.settings["grid_points"])


def analyse(
    trace: Trace,
    plan: Sequence[PlannedTransition],
    bed: Bed,
    *,
    switches_m3: Mapping[str, float] | None = None,
    references: Mapping[str, Floats] | None = None,
) -> tuple[Analysed, ...]:
    """Find and analyse the planned transitions of a trace; touches no database.

    Parameters
    ----------
    switches_m3 : mapping, optional
        Where a person put the switch of a transition, by its name [m3 from the trace's start].
    references : mapping, optional
        Reference curve of a transition on the stored grid, by its name.
    """
    moved = switches_m3 or {}
    wanted = [
        replace(one, mark=None, volume_cv=moved[one.name] / bed.bed_volume_m3) if one.name in moved else one
        for one in plan
    ]
    found = find_transitions(trace, wanted, bed_volume_m3=bed.bed_volume_m3)
    flow = signal_of(trace, "flow")
    return tuple(_analyse_one(one, bed, (references or {}).get(one.plan.name), flow) for one in found)


def _analyse_one(
    found: FoundTransition | MissingTransition, bed: Bed, reference: Floats | None, flow: Signal | None
) -> Analysed:
    if isinstance(found, MissingTransition):
        return Analysed(found.plan, found.why, found.mend, None, None)
    settings = science.Settings(direction=found.plan.direction, hold_up_m3=bed.hold_up_m3)
    result = science.analyse(
        found.volume_m3,
        found.values,
        bed_volume_m3=bed.bed_volume_m3,
        bed_height_m=bed.bed_height_m,
        settings=settings,
        reference=reference,
        flow_m3_s=None if flow is None else _flow_at(found, flow),
    )
    return Analysed(found.plan, found.how, "", found.switch_volume_m3, result)


def _flow_at(found: FoundTransition, flow: Signal) -> Floats:
    """Return the flow at each volume of a transition; NaN beyond what was recorded."""
    volume = found.volume_m3 + found.switch_volume_m3
    return np.interp(volume, flow.volume_m3, flow.values, left=np.nan, right=np.nan)


def store(session: Session, cycle: Cycle, analysed: Sequence[Analysed], *, at: datetime) -> list[Transition]:
    """Store the results of a cycle."""
    rows = rows_of(cycle.id, analysed, at=at)
    session.add_all(rows)
    session.flush()  # the judgement reads them
    return rows


def rows_of(cycle_id: int, analysed: Sequence[Analysed], *, at: datetime) -> list[Transition]:
    """Return the results of a cycle as they would be stored."""
    return [_row(cycle_id, position, one, at) for position, one in enumerate(analysed)]


def store_typed(
    session: Session,
    cycle: Cycle,
    plan: PlannedTransition,
    values: Mapping[str, float],
    doubts: Sequence[Doubt],
    *,
    how_found: str,
    at: datetime,
) -> list[Transition]:
    """Store values of one transition that somebody typed; there is no curve, and no uncertainty."""
    row = Transition(
        cycle_id=cycle.id,
        name=plan.name,
        position=0,
        plan=asdict(plan),
        how_found=how_found,
        switch_volume_m3=None,
        method=TYPED,
        method_version="1",
        settings={},
        usable=True,
        estimates={name: [value, 0.0] for name, value in values.items()},
        withheld={},
        doubts=[asdict(doubt) for doubt in doubts],
        working={},
        analysed_at=at,
    )
    session.add(row)
    session.flush()  # the judgement reads it
    return [row]


def _row(cycle_id: int, position: int, one: Analysed, at: datetime) -> Transition:
    common: dict[str, Any] = {
        "cycle_id": cycle_id,
        "name": one.plan.name,
        "position": position,
        "plan": asdict(one.plan),
        "how_found": one.how_found,
        "switch_volume_m3": one.switch_volume_m3,
        "analysed_at": at,
        "usable": one.usable,
    }
    if one.result is None:
        doubt = {"code": NOT_FOUND, "sentence": f"{one.how_found} {one.mend}"}
        nothing = {"settings": {}, "estimates": {}, "withheld": {}, "working": {}, "doubts": [doubt]}
        return Transition(**common, **nothing, method=NOT_FOUND, method_version="")
    result = one.result
    return Transition(
        **common,
        method=result.method,
        method_version=result.version,
        settings=result.settings.to_dict(),
        direction=result.direction,
        estimates={name: [float(e.value), float(e.u)] for name, e in result.estimates.items()},
        withheld=dict(result.withheld),
        doubts=[asdict(doubt) for doubt in result.doubts],
        working=dict(result.working),
        fraction=result.fraction,
        density_per_cv=result.density_per_cv,
    )


def doubts_of(session: Session, cycle: Cycle) -> tuple[str, ...]:
    """Return what was seen in a cycle's trace that weakens its results."""
    rows = queries.of_cycles(session, [cycle.id])
    return tuple(f"{row.name}: {doubt['sentence']}" for row in rows for doubt in row.doubts)


def estimates_of(row: Transition) -> dict[str, Estimate]:
    """Return the stored estimates of a result."""
    return {name: Estimate(value, u) for name, (value, u) in row.estimates.items()}


def reference_curves(session: Session, packing_id: int) -> dict[str, Floats]:
    """Return the mean curve of each transition over the first usable cycles of a packing.

    Empty until there are enough of them; then it does not change any more.
    """
    found = references_of(queries.early_curves(session, packing_id, cycles=EARLY_CYCLES))
    return {name: reference.fraction for name, reference in found.items()}


def references_of(curves: Iterable[tuple[int, str, Floats | None]]) -> dict[str, Reference]:
    """Return the reference of each transition that has one, from cycle, name and usable curve, in order."""
    found: dict[str, list[tuple[int, Floats]]] = {}
    for number, name, fraction in curves:
        kept = found.setdefault(name, [])
        if len(kept) < REFERENCE_CYCLES and fraction is not None:
            kept.append((number, fraction))
    return {
        name: Reference(kept[-1][0], np.mean([fraction for _, fraction in kept], axis=0))
        for name, kept in found.items()
        if len(kept) == REFERENCE_CYCLES
    }


def curve_over_normal(
    name: str,
    grid_cv: Floats,
    fraction: Floats | None,
    density_per_cv: Floats | None,
    normal: Sequence[Transition],
) -> CurveView:
    """Return a curve over the envelope of those that are normal, which may be none yet."""
    fractions = np.array([row.fraction for row in normal])
    densities = np.array([row.density_per_cv for row in normal])
    known = len(normal) > 0
    return CurveView(
        transition=name,
        grid_cv=_plain(grid_cv),
        fraction=_plain(fraction),
        envelope_low=_plain(fractions.min(axis=0)) if known else (),
        envelope_high=_plain(fractions.max(axis=0)) if known else (),
        density_per_cv=_plain(density_per_cv),
        baseline_density_per_cv=_plain(densities.mean(axis=0)) if known else (),
    )


def _plain(values: Floats | None) -> tuple[float, ...]:
    return () if values is None else tuple(round(float(v), 5) for v in values)
