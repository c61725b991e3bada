"""Runs that must not count: void, leave out, count again."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends
from pydantic import BaseModel, Field

from beadline.boundary.deps import Now, Person, Session, WriteSession, allowed
from beadline.boundary.shapes import Why
from beadline.features.drift import queries as drift
from beadline.features.intake import service as intake
from beadline.store.tables import Packing

router = APIRouter(prefix="/api/v1/cycles", tags=["runs"])
Engineer = Annotated[Person, Depends(allowed("correct runs"))]


class JudgedAnew(BaseModel):
    """The bed, judged anew from its first cycle on; drift in baseline standard deviations."""

    column: str
    packing: int
    packing_id: int
    cycles: int = Field(description="How many are not voided.")
    last_cycle: int | None
    drift: float | None
    sentence: str


@router.post("/{cycle_id}/void")
def void(session: WriteSession, engineer: Engineer, now: Now, cycle_id: int, why: Why) -> JudgedAnew:
    """Void a wrong run; it stays in the record."""
    return _told(session, intake.void_run(session, cycle_id, reason=why.reason, by=engineer.user, at=now))


@router.post("/{cycle_id}/exclude")
def exclude(session: WriteSession, engineer: Engineer, now: Now, cycle_id: int, why: Why) -> JudgedAnew:
    """Leave a cycle out of the statistics; it stays on the charts."""
    return _told(session, intake.exclude_run(session, cycle_id, reason=why.reason, by=engineer.user, at=now))


@router.post("/{cycle_id}/count-again")
def count_again(session: WriteSession, engineer: Engineer, now: Now, cycle_id: int, why: Why) -> JudgedAnew:
    """Take an excluded cycle back into the statistics."""
    packing = intake.count_run_again(session, cycle_id, reason=why.reason, by=engineer.user, at=now)
    return _told(session, packing)


def _told(session: Session, packing: Packing) -> JudgedAnew:
    standing = drift.bed_state(session, packing.id)
    return JudgedAnew(
        column=packing.column.asset_tag,
        packing=packing.number,
        packing_id=packing.id,
        cycles=standing.cycles if standing else 0,
        last_cycle=standing.last_cycle if standing else None,
        drift=standing.drift if standing else None,
        sentence=standing.sentence if standing else "",
    )
