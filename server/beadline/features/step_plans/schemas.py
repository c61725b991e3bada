"""A step plan as a form holds it, and what it finds in a trace."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """One transition as a row of fields holds it: text, as written."""

    name: str = ""
    quantity: str = "conductivity"
    how: str = "mark"
    mark: str = ""
    occurrence: str = "1"
    volume_cv: str = ""
    direction: str = "either"
    start_cv: str = "-0.2"
    end_cv: str = "2"


@dataclass(frozen=True, slots=True, kw_only=True)
class TriedTransition:
    """What was found of one transition; places in CV from the trace's start."""

    name: str
    found: bool
    said: str
    mend: str
    window: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TriedPlan:
    """What a plan finds in a trace.

    Attributes
    ----------
    left_over : tuple of str
        Steps that the plan does not name, and marks that come too often.
    chart : dict
        Signals over CV, and the windows on them, for the chart.
    """

    of: str
    transitions: tuple[TriedTransition, ...]
    marks: tuple[str, ...]
    left_over: tuple[str, ...]
    chart: dict[str, Any]
