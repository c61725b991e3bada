"""By what the site's pulse tests are read and judged."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends
from pydantic import BaseModel, ConfigDict, Field

from beadline.boundary.deps import Now, Person, ReadSession, Session, Viewer, WriteSession, allowed
from beadline.features.pulse_tests import service as pulse_tests
from beadline.features.pulse_tests.schemas import Standard
from beadline.kit.errors import Invalid

router = APIRouter(prefix="/api/v1/library/criteria", tags=["library"])
Keeper = Annotated[Person, Depends(allowed("change library"))]
Level = Annotated[float, Field(ge=0.01, le=0.9)]
LIMITED = ("reduced_plate_height", "plates_per_metre", "asymmetry", "tailing_factor", "porosity")
READ = ("asymmetry_level", "tailing_level", "half_height_constant", "baseline")


class Span(BaseModel):
    """What passes; null where a side is open."""

    model_config = ConfigDict(extra="forbid")

    lowest: float | None
    highest: float | None


class Criteria(BaseModel):
    """Limits of what is judged; heights as shares of the apex."""

    model_config = ConfigDict(extra="forbid")

    reduced_plate_height: Span
    plates_per_metre: Span
    asymmetry: Span
    tailing_factor: Span
    porosity: Span
    corrected: bool = Field(description="Judge the bed alone, with injection and system taken off.")
    source: str = Field(min_length=1, max_length=400)
    asymmetry_level: Level
    tailing_level: Level
    half_height_constant: float
    baseline: Literal["linear", "constant"]


class KnownCriteria(Criteria):
    """What holds now; version 0 is what is shipped, common practice without a source."""

    version: int


class NewCriteria(Criteria):
    """What shall hold from now on, and why."""

    reason: str


@router.get("")
def present(session: ReadSession, viewer: Viewer) -> KnownCriteria:
    """Tell by what pulse tests are read and judged."""
    return _told(session)


@router.post("", status_code=201)
def change(session: WriteSession, keeper: Keeper, now: Now, said: NewCriteria) -> KnownCriteria:
    """Keep a new version; tests that were judged keep the criteria that they were judged by."""
    old = pulse_tests.standard.present(session)
    limits: dict[str, Any] = {name: _ends(getattr(said, name)) for name in LIMITED}
    read: dict[str, Any] = {name: getattr(said, name) for name in READ}
    try:
        wanted = Standard(
            criteria=replace(old.criteria, **limits, corrected=said.corrected, source=said.source),
            settings=replace(old.settings, **read),
        )
    except ValueError as error:
        mend = "Check that each lowest is below its highest."
        raise Invalid(f"No test could be judged so: {error}.", where="criteria", mend=mend) from error
    pulse_tests.standard.change(session, wanted, reason=said.reason, by=keeper.user, at=now)
    return _told(session)


def _ends(span: Span) -> tuple[float | None, float | None]:
    return span.lowest, span.highest


def _told(session: Session) -> KnownCriteria:
    now = pulse_tests.standard.present(session)
    ends = {name: getattr(now.criteria, name) for name in LIMITED}
    limits: dict[str, Any] = {name: Span(lowest=low, highest=high) for name, (low, high) in ends.items()}
    return KnownCriteria(
        **limits,
        corrected=now.criteria.corrected,
        source=now.criteria.source,
        **{name: getattr(now.settings, name) for name in READ},
        version=now.version,
    )
