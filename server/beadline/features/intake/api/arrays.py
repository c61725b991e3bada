"""Runs as JSON, posted by programs that hold arrays and no file."""

from __future__ import annotations

from typing import Literal

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field

from beadline.boundary.deps import Now, ReadSession, SiteSettings, WriteSession
from beadline.features.cycles.schemas import RunFacts
from beadline.features.intake.api import runs
from beadline.features.intake.api.once import OnlyOnce
from beadline.features.intake.service import arrays
from beadline.kit import forms

router = APIRouter(prefix="/api/v1", tags=["runs"])
STRICT = ConfigDict(extra="forbid", allow_inf_nan=False)


class Axis(BaseModel):
    """Where each value was taken; a time axis needs a flow among the signals."""

    model_config = STRICT

    quantity: Literal["volume", "time"]
    unit: str = Field(max_length=20, description="Such as L, mL, CV, s or min.")
    values: list[float] = Field(min_length=2)


class Signal(BaseModel):
    """What one probe gave, as long as the axis; null is a gap."""

    model_config = STRICT

    quantity: arrays.Quantity
    unit: str = Field(default="", max_length=20, description="Such as mS/cm, mAU, bar; empty for pH.")
    place: Literal["", "pre", "post", "delta"] = Field(default="", description="Of the probe, by the column.")
    values: list[float | None]


class StepMark(BaseModel):
    """A step of the method and where on the axis it begins."""

    model_config = STRICT

    name: str = Field(min_length=1, max_length=80)
    at: float


class JsonRun(BaseModel):
    """A run as arrays."""

    model_config = STRICT

    column: str = Field(description="Asset tag or name of the column.")
    axis: Axis
    signals: list[Signal] = Field(min_length=1, max_length=50)
    marks: list[StepMark] = []
    batch: str = Field(default="", max_length=60)
    started_at: str = Field(default="", description="ISO 8601, in the site's zone if it has none; else now.")
    number: int | None = Field(default=None, description="Cycle number; the next one if left out.")
    note: str = ""
    another_run: bool = False


@router.post(
    "/json-runs",
    status_code=201,
    responses={200: {"model": runs.RunReply, "description": "Recorded before."}},
)
def log_json(
    reader: ReadSession,
    session: WriteSession,
    logger: runs.Logger,
    settings: SiteSettings,
    now: Now,
    once: OnlyOnce,
    run: JsonRun,
) -> runs.RunReply:
    """Read, analyse, judge and record a run given as arrays, as one given as a file is.

    The arrays are kept as delimited text, every number as it came; the same arrays are recorded once.
    """

    started_at = forms.moment(run.started_at, settings.zone, where="started_at")
    content = arrays.as_text(
        arrays.Values(run.axis.quantity, run.axis.unit, run.axis.values),
        [arrays.Values(one.quantity, one.unit, one.values, one.place) for one in run.signals],
        [(mark.name, mark.at) for mark in run.marks],
        started_at=started_at,
    )
    facts = RunFacts(
        batch=run.batch,
        started_at=started_at,
        number=run.number,
        note=run.note,
        another_run=run.another_run,
    )
    return runs.log_content(
        reader,
        session,
        once,
        logger,
        column=run.column,
        content=content,
        filename="arrays.csv",
        facts=facts,
        zone=settings.zone,
        at=now,
    )
