"""What addresses of several features are sent or tell, each described once."""

from __future__ import annotations

from pydantic import BaseModel, Field


class Why(BaseModel):
    """Why something is changed."""

    reason: str = Field(description="Needed; it stays in the record.")


class Quantity(BaseModel):
    """A number with its standard uncertainty in the same unit; CV is a column volume, 1 a plain number.

    Temperatures are in K as they are stored: 273.15 K is 0 °C, where pages and tables for people count from.
    """

    value: float
    u: float | None = Field(description="Null where nobody said how well it is known.")
    unit: str


class DoubtLine(BaseModel):
    """What was seen that weakens a result; the code is never renamed."""

    code: str
    sentence: str
