"""A file on its way to becoming a logged run."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from beadline.features.transitions.schemas import Analysed, CurveView
from beadline.kit.errors import Invalid
from beadline.kit.looks import Kind, Lede, NumberLine
from beadline.reading import Profile, Trace, UnreadableFile
from beadline.store.tables import Alert, Cycle, Judgement


@dataclass(frozen=True, slots=True)
class Corrections:
    """What a person corrected of what was recognised.

    Attributes
    ----------
    columns : mapping
        By the place of a column in the file: use, quantity, unit and role as in a reading profile.
    switches_m3 : mapping
        Where the switch of a transition is [m3 from the trace's start].
    """

    columns: Mapping[int, Mapping[str, str]] = field(default_factory=dict)
    switches_m3: Mapping[str, float] = field(default_factory=dict)


class Unread(Invalid):
    """A file that can't be read as it is.

    Attributes
    ----------
    draft : Profile or None
        What was recognised of it, for a person to correct; None where that was nothing.
    """

    def __init__(self, error: UnreadableFile) -> None:
        super().__init__(error.what, where=error.where, mend=error.mend, code=error.code)
        self.draft = error.draft


@dataclass(frozen=True, slots=True)
class AnalysedRun:
    """A file, read and analysed, not yet stored.

    Attributes
    ----------
    trace : Trace
        The signals.
    transitions : tuple of Analysed
        One for each that the step plan names.
    conditions : mapping
        `flow_m3_s`, `pressure_drop_pa` (corrected) and `temperature_k`: value and u, or None.
    notes : tuple of str
        What was recognised and why.
    """

    trace: Trace
    transitions: tuple[Analysed, ...]
    conditions: Mapping[str, Any]
    notes: tuple[str, ...]

    @property
    def profile(self) -> Profile:
        """How the file was read."""
        return self.trace.profile


@dataclass(frozen=True, slots=True)
class LoggedRun:
    """A run that is recorded, with its verdict.

    Attributes
    ----------
    cycle : Cycle
        The record.
    trace_sha256 : str
        Hash of the file.
    judgement : Judgement or None
        The verdict as stored; None when the caller judges the whole life afterwards.
    alert : Alert or None
        The alert that this run raised or worsened.
    already : bool
        True when the same file was recorded before and nothing was stored now.
    """

    cycle: Cycle
    trace_sha256: str
    judgement: Judgement | None
    alert: Alert | None
    already: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenTransition:
    """What was found of a planned transition; volumes in L from the trace's start."""

    name: str
    usable: bool
    how_found: str
    mend: str
    found_l: float | None
    corrected_l: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A file that is not recorded yet, as a person sees it; `started_at` as a form holds it."""

    lede: Lede
    filename: str
    sha256: str
    number: int
    bed_name: str
    verdict: str
    kind: Kind
    transitions: tuple[SeenTransition, ...]
    numbers: tuple[tuple[str, tuple[NumberLine, ...]], ...]
    doubts: tuple[str, ...]
    not_the_bed: tuple[str, ...]
    recognised: tuple[str, ...]
    started_at: str
    curves: tuple[CurveView, ...]
