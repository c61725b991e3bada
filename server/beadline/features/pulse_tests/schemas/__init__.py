"""What is known of a pulse test before its trace is read."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from beadline.reading import Profile, Started
from beadline.science.pulse import DEFAULT_CRITERIA, Criteria, PulseResult, PulseVerdict, Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class TestFacts:
    """When and how the tracer was injected; the volume in mL."""

    performed_at: datetime
    injection_ml: float
    tracer: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Standard:
    """How tests are read and judged; version 0 is what is shipped, common practice without a source."""

    criteria: Criteria
    settings: Settings
    version: int = 0


SHIPPED = Standard(criteria=DEFAULT_CRITERIA, settings=Settings())


@dataclass(frozen=True, slots=True)
class AnalysedTest:
    """A pulse test's trace, read and judged; the unit is that of the tracer's signal.

    `started` is when the file says that the test began, None where it does not.
    """

    profile: Profile
    notes: tuple[str, ...]
    result: PulseResult
    verdict: PulseVerdict
    criteria: Criteria
    unit: str
    started: Started | None = None
