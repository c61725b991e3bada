"""Recomputations, for programs; they are begun on the command line, since they may take hours."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query
from pydantic import BaseModel, Field

from beadline.boundary.deps import ReadSession, Viewer
from beadline.features.recomputations import service as recomputations
from beadline.store.tables import Recomputation

router = APIRouter(prefix="/api/v1/recomputations", tags=["recomputations"])
PER_PAGE = 50


class RecomputationLine(BaseModel):
    """An order to analyse anew; the column is empty for all of them."""

    id: int
    column_tag: str
    reason: str
    method: str
    method_version: str
    state: str
    started_at: datetime
    ended_at: datetime | None
    beds: int
    finished: int


class WhatChanged(BaseModel):
    """What new results changed of one bed; an empty report until it is finished."""

    packing_id: int
    report: dict[str, Any] = Field(description="Before and after, in stored units.")


class WholeRecomputation(RecomputationLine):
    """A recomputation with the report of each bed."""

    reports: list[WhatChanged]


@router.get("")
def list_recomputations(
    session: ReadSession, viewer: Viewer, page: Annotated[int, Query(ge=1, le=10**6)] = 1
) -> list[RecomputationLine]:
    """Return 50 recomputations a page, the newest first."""
    found, _ = recomputations.a_page(session, number=page, per_page=PER_PAGE)
    return [RecomputationLine(**_plain(one), beds=beds, finished=done) for one, beds, done in found]


@router.get("/{recomputation_id}")
def one_recomputation(
    session: ReadSession, viewer: Viewer, recomputation_id: Annotated[int, Path(ge=1, le=2**31 - 1)]
) -> WholeRecomputation:
    """Give what a recomputation changed, bed by bed."""
    found, beds = recomputations.reports(session, recomputation_id)
    return WholeRecomputation(
        **_plain(found),
        beds=len(beds),
        finished=sum(bool(report) for _, report in beds),
        reports=[WhatChanged(packing_id=packing, report=report) for packing, report in beds],
    )


def _plain(one: Recomputation) -> dict[str, Any]:
    made = set(RecomputationLine.model_fields) - {"beds", "finished"}
    return {name: getattr(one, name) for name in made}
