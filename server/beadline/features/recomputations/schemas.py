"""A trace on its way to being analysed again, and what came of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from beadline.features.packings.schemas import Bed
from beadline.features.pulse_tests.schemas import AnalysedTest, Standard, TestFacts
from beadline.features.transitions.schemas import Analysed
from beadline.kit.looks import Kind
from beadline.reading import PlannedTransition

Curves = Mapping[str, NDArray[np.float64]]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Task:
    """A recorded trace to be analysed again; whole in itself, so that it can be sent to another machine.

    Attributes
    ----------
    counts : bool
        False for an excluded cycle: it belongs to no reference.
    content : bytes
        The file, checked against its hash.
    plan : tuple of PlannedTransition
        As stored with the present results.
    profile : mapping
        How the file was read.
    references : mapping
        Reference curve of each transition that has one, by its name.
    """

    cycle_id: int
    number: int
    counts: bool
    content: bytes
    filename: str
    bed: Bed
    plan: tuple[PlannedTransition, ...]
    profile: Mapping[str, Any]
    references: Curves


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Outcome:
    """What came of a task; `why` says why nothing did, and the old results are kept."""

    cycle_id: int
    number: int
    counts: bool
    transitions: tuple[Analysed, ...] = ()
    conditions: Mapping[str, Any]
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PulseTask:
    """A recorded pulse test to be analysed again; whole in itself, as `Task` is."""

    test_id: int
    content: bytes
    filename: str
    bed: Bed
    facts: TestFacts
    standard: Standard
    profile: Mapping[str, Any]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PulseOutcome:
    """What came of a pulse test; `why` says why nothing did, and the old result is kept."""

    test_id: int
    found: AnalysedTest | None = None
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BedReport:
    """What new results changed of one bed; the content as it is stored, in stored units."""

    packing_id: int
    asset_tag: str
    bed_name: str
    content: Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class MovedNumber:
    """The largest move of a number over all cycles of a bed, in the units of the screen."""

    label: str
    unit: str
    transition: str
    cycle: int
    before: str
    after: str
    in_u: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BedView:
    """The report of a bed as a page and the command show it; without `summary` it is not finished.

    Attributes
    ----------
    verdicts : tuple
        Cycle, verdict and kind before, verdict and kind after.
    alerts : tuple
        Id, what came of it, kind, headline.
    skipped : tuple
        Cycle and why its old results stay.
    pulse_tests : tuple
        Id, kind and text of each pulse test whose result is another one, or that was skipped.
    notes : tuple of str
        What was left out.
    """

    href: str
    bed_name: str
    summary: str = ""
    moved: tuple[MovedNumber, ...] = ()
    verdicts: tuple[tuple[int, str, Kind, str, Kind], ...] = ()
    alerts: tuple[tuple[int, str, Kind, str], ...] = ()
    skipped: tuple[tuple[int, str], ...] = ()
    pulse_tests: tuple[tuple[int, Kind, str], ...] = ()
    notes: tuple[str, ...] = ()
