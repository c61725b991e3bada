"""Record values that somebody typed, where a run has no trace."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from beadline.features.cycles import queries as cycle_queries
from beadline.features.cycles import service as cycles
from beadline.features.cycles.schemas import TYPED, CameBy, RunFacts
from beadline.features.intake.schemas import LoggedRun, TypedValues
from beadline.features.intake.service.logging import judged, recorded_before
from beadline.features.packings import queries as packing_queries
from beadline.features.packings import service as packings
from beadline.features.packings.schemas import Bed
from beadline.features.traces import service as traces
from beadline.features.transitions import service as transitions
from beadline.kit import words
from beadline.kit.errors import Invalid
from beadline.science.estimates import Doubt
from beadline.store.tables import Cycle, Packing, Transition, User

FILENAME = "typed by hand.json"
AGREE_WITHIN = 0.05
# What can't be meant, in stored units: a plate is smaller than the bed, a pressure below 100 bar.
_RANGES = {
    "asymmetry": (0.1, 20.0, "0.1 to 20", 1.0, ""),
    "mean_cv": (0.1, 100.0, "0.1 to 100 CV", 1.0, " CV"),
    "variance_cv2": (1e-8, 100.0, "above 0 up to 100 CV²", 1.0, " CV²"),
    "pressure_drop_pa": (1.0, 1e7, "above 0 up to 100 bar", 1e-5, " bar"),
}


def log_typed(
    session: Session,
    packing: Packing,
    values: TypedValues,
    *,
    facts: RunFacts,
    came_by: CameBy,
    by: User,
    at: datetime,
) -> LoggedRun:
    """Record and judge values of the plan's official transition; what was typed is kept as a trace would be.

    The same values typed twice for the same start of the same bed are recorded once.

    Raises
    ------
    Invalid
        If no value is given, one can't be right, or the start is not given.
    Conflict
        If the cycle number is taken.
    """
    packing_queries.lock(session, packing.id)
    check(values, facts, packings.bed_of(packing))
    sha256 = hashlib.sha256(_as_kept(packing, values, facts)).hexdigest()
    known = cycle_queries.logged_from(session, packing.id, sha256)
    if known is not None:
        return recorded_before(session, packing, known, sha256)
    cycle, rows = store(session, packing, values, facts=facts, came_by=came_by, by=by, at=at)
    return judged(session, packing, cycle, rows, sha256=sha256, by=by, at=at)


def store(
    session: Session,
    packing: Packing,
    values: TypedValues,
    *,
    facts: RunFacts,
    came_by: CameBy,
    by: User,
    at: datetime,
    source: Mapping[str, Any] | None = None,
    how_found: str = "Typed by hand, without a trace.",
) -> tuple[Cycle, list[Transition]]:
    """Store values that `check` let pass; the caller judges them.

    Parameters
    ----------
    source : mapping, optional
        Where the values are from, if not from somebody's keyboard; kept with the cycle.
    """
    pressure, bed = values.pressure_drop_pa, packings.bed_of(packing)
    content = _as_kept(packing, values, facts)
    cycle = cycles.add(
        session,
        packing=packing,
        trace=traces.keep(session, content, filename=FILENAME, by=by, at=at),
        facts=facts,
        profile={"kind": TYPED} | ({"source": dict(source)} if source else {}),
        conditions={
            "flow_m3_s": None,
            "pressure_drop_pa": None if pressure is None else [pressure, 0.0],
            "temperature_k": None,
        },
        came_by=came_by,
        by=by,
        at=at,
    )
    plan = transitions.official(transitions.planned(packing.step_plan))
    found, doubts = of_transition(values), _doubts(values, bed)
    rows = transitions.store_typed(session, cycle, plan, found, doubts, how_found=how_found, at=at)
    return cycle, rows


def of_transition(values: TypedValues) -> dict[str, float]:
    """Return what was typed of the official transition, by metric."""
    given = {
        "hetp_moments": values.hetp_m,
        "asymmetry": values.asymmetry,
        "mean_cv": values.mean_cv,
        "variance_cv2": values.variance_cv2,
    }
    return {name: value for name, value in given.items() if value is not None}


def _as_kept(packing: Packing, values: TypedValues, facts: RunFacts) -> bytes:
    typed = {
        "typed_by_hand": True,
        "column": packing.column.asset_tag,
        "packing": packing.number,
        "cycle": facts.number,
        "batch": facts.batch.strip(),
        "started_at": facts.started_at.isoformat() if facts.started_at else None,
        "values": {name: value for name, value in asdict(values).items() if value is not None},
    }
    return json.dumps(typed, indent=1, sort_keys=True, ensure_ascii=False).encode()


def check(values: TypedValues, facts: RunFacts, bed: Bed) -> None:
    """Refuse values that can't be right.

    Raises
    ------
    Invalid
        If no value of the transition is given, one can't be right, or the start is not given.
    """
    if not of_transition(values):
        mend = "Type at least one of plate height, asymmetry, mean and variance."
        raise Invalid("No value of the transition was typed.", where="hetp_cm", mend=mend)
    if facts.started_at is None:
        raise Invalid("The start is missing.", where="started_at", mend="Say when the run started.")
    if values.hetp_m is not None and not 0 < values.hetp_m < bed.bed_height_m:
        typed = words.number(values.hetp_m * 100, 4)
        raise Invalid(
            f"The plate height can't be {typed} cm: it lies between 0 and the height of the bed, "
            f"{words.number(bed.bed_height_m * 100, 3)} cm.",
            where="hetp_cm",
            mend="Check the number and its unit, cm.",
        )
    for name, (low, high, span, factor, unit) in _RANGES.items():
        value = getattr(values, name)
        if value is not None and not low <= value <= high:
            field = "pressure_drop_bar" if name == "pressure_drop_pa" else name
            said = f"{words.number(value * factor, 4)}{unit} can't be right; {span} is taken."
            raise Invalid(said, where=field, mend="Check the number and its unit.")


def _doubts(values: TypedValues, bed: Bed) -> list[Doubt]:
    """Compare the plate height with that from moments: bed height times variance over mean squared."""
    if values.hetp_m is None or values.mean_cv is None or values.variance_cv2 is None:
        return []
    expected = bed.bed_height_m * values.variance_cv2 / values.mean_cv**2
    if abs(values.hetp_m / expected - 1) <= AGREE_WITHIN:
        return []
    said = (
        f"Plate height {words.number(values.hetp_m * 100, 3)} cm does not go with mean and variance, which "
        f"give {words.number(expected * 100, 3)} cm (bed height times variance over mean squared)."
    )
    return [Doubt("typed_values_disagree", said)]
