"""Step plans, for programs."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

from fastapi import APIRouter, Depends
from pydantic import BaseModel, ConfigDict, Field

from beadline.boundary.deps import Now, Person, ReadSession, Viewer, WriteSession, allowed
from beadline.features.transitions import service as transitions
from beadline.kit.errors import Invalid
from beadline.reading import PlannedTransition, Quantity
from beadline.reading.steps import Direction
from beadline.store.tables import StepPlan

router = APIRouter(prefix="/api/v1/step-plans", tags=["library"])
Keeper = Annotated[Person, Depends(allowed("change library"))]
MOST = 12


class Planned(BaseModel):
    """A transition to analyse: found by its mark, else by a volume, else by the step itself."""

    model_config = ConfigDict(extra="forbid")

    name: str = Field(min_length=1, max_length=80)
    quantity: Quantity = "conductivity"
    mark: str | None = Field(None, min_length=1, max_length=200, description="Name of the step in the file.")
    occurrence: int = Field(1, ge=1, le=1000, description="Which one, where it comes several times.")
    start_cv: float = Field(-0.2, ge=-50, le=200, description="Where the window begins, from the switch.")
    end_cv: float = Field(2.0, ge=-50, le=200, description="Where it ends, from the switch.")
    direction: Direction = "either"
    volume_cv: float | None = Field(None, ge=0, le=1e6, description="Of the switch, from the trace's start.")


class NewPlan(BaseModel):
    """A step plan, or the next version of the one with this name."""

    model_config = ConfigDict(extra="forbid")

    name: str = Field(min_length=1, max_length=80)
    product: str = Field("", max_length=80)
    reference_flow_m3_s: float | None = Field(None, gt=0)
    transitions: list[Planned] = Field(min_length=1, max_length=MOST)


class KnownPlan(NewPlan):
    """A recorded version of a step plan."""

    id: int
    version: int


@router.get("")
def list_plans(session: ReadSession, viewer: Viewer) -> list[KnownPlan]:
    """List every version of every step plan, by name and version."""
    return [_told(plan) for plan in transitions.plans(session)]


@router.post("", status_code=201)
def add(session: WriteSession, keeper: Keeper, now: Now, new: NewPlan) -> KnownPlan:
    """Record a plan, or its next version; beds keep the version that they were packed for."""
    for place, one in enumerate(new.transitions):
        if one.end_cv <= max(one.start_cv, 0.0):
            where = f"transitions[{place}].end_cv"
            mend = "Let the window run past the switch."
            raise Invalid("The window ends before the switch.", where=where, mend=mend)
    made = transitions.make_plan(
        session,
        name=new.name,
        product=new.product.strip(),
        transitions=[PlannedTransition(**one.model_dump()) for one in new.transitions],
        reference_flow_m3_s=new.reference_flow_m3_s,
        by=keeper.user,
        at=now,
    )
    return _told(made)


def _told(plan: StepPlan) -> KnownPlan:
    return KnownPlan(
        id=plan.id,
        name=plan.name,
        version=plan.version,
        product=plan.product,
        reference_flow_m3_s=plan.reference_flow_m3_s,
        transitions=[Planned(**asdict(one)) for one in transitions.planned(plan)],
    )
