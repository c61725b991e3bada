"""What programs are told of beds and cycles: SI units or column volumes, each number with its unit."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from pydantic import BaseModel, Field

from beadline.boundary.shapes import DoubtLine, Quantity


class Limits(BaseModel):
    """Alert and action limits as [from, to]; null where there is none on that side."""

    alert: tuple[float | None, float | None]
    action: tuple[float | None, float | None]
    unit: str


class StandingAlert(BaseModel):
    """The newest alert of a bed that is not closed."""

    id: int
    level: str
    status: str
    headline: str
    address: str


class Bed(BaseModel):
    """A column's newest bed; drift in baseline standard deviations, headline numbers of its newest cycle."""

    column: str
    name: str
    area: str
    resin: str
    packing: int = Field(description="Number of the packing within its column.")
    packing_id: int = Field(description="What `packing=` of the other addresses takes.")
    condition: str
    sentence: str
    drift: float | None
    cycles: int
    last_cycle: int | None
    last_started_at: datetime | None
    bed_height_m: float
    transition: str | None = Field(description="The transition that the headline numbers are of.")
    hetp_m: float | None
    asymmetry: float | None
    pressure_drop_pa: float | None
    limits: dict[str, Limits] = Field(description="By transition/metric, or metric of the whole cycle.")
    alert: StandingAlert | None
    address: str


class BedDetail(Bed):
    """A bed with its baseline and what is foreseen of it."""

    baseline_cycles: list[int] = Field(description="That define normal; empty while they are learnt.")
    outlook: list[dict[str, Any]] = Field(
        description="A metric each: its trend, and by limit the cycles left as an 80 % interval; empty while "
        "the baseline is learnt."
    )


class Beds(BaseModel):
    """A page of the columns' newest beds, by name."""

    page: int
    pages: int
    columns: list[Bed]


class TransitionResults(BaseModel):
    """The stored numbers of one transition, by metric."""

    name: str
    usable: bool
    results: dict[str, Quantity]


class CycleLine(BaseModel):
    """A cycle with all its results; what is voided or excluded counts in no chart."""

    id: int
    cycle: int
    batch: str
    started_at: datetime
    verdict: str | None = Field(description="Null for a voided cycle.")
    drift: float | None
    voided: bool
    void_reason: str
    excluded: bool
    excluded_reason: str
    whole_cycle: dict[str, Quantity]
    transitions: list[TransitionResults]
    address: str


class Cycles(BaseModel):
    """A page of a bed's cycles, in order of their numbers."""

    column: str
    packing: int
    packing_id: int
    page: int
    pages: int
    cycles: list[CycleLine]


class TransitionDetail(TransitionResults):
    """A transition with all that was said of it."""

    how_found: str
    switch_volume_m3: float | None
    direction: str
    method: str
    method_version: str
    revision: int
    analysed_at: datetime
    withheld: dict[str, str] = Field(description="By metric: why there is no value.")
    doubts: list[DoubtLine]
    working: str = Field(description="Address of the page that shows how the numbers came about.")


class TransitionWorking(TransitionDetail):
    """A transition with how its numbers came about."""

    plan: dict[str, Any] = Field(description="What was looked for.")
    settings: dict[str, Any] = Field(description="By which it was analysed, bed and flow among them.")
    intermediate: dict[str, Any] = Field(description="Intermediate values, each with its unit in its name.")
    volume_cv: list[float] = Field(description="Of the curve, from the switch on.")
    fraction: list[float] = Field(description="Of the step; empty where the transition was not usable.")
    density_per_cv: list[float] = Field(description="Its derivative.")


class CycleDetail(BaseModel):
    """One cycle with its transitions, doubts and withheld numbers."""

    id: int
    column: str
    packing: int
    packing_id: int
    cycle: int
    batch: str
    note: str
    started_at: datetime
    logged_at: datetime
    logged_by: str
    verdict: str | None = Field(description="Null for a voided cycle.")
    drift: float | None
    not_the_bed: list[str]
    voided: bool
    void_reason: str
    excluded: bool
    excluded_reason: str
    filename: str
    trace_sha256: str
    trace: str = Field(description="Address of the file as received.")
    whole_cycle: dict[str, Quantity]
    transitions: list[TransitionDetail]
    address: str
