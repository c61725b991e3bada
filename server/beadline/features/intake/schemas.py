"""A file on its way to becoming a logged run."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from beadline.features.transitions.schemas import Analysed, CurveView
from beadline.kit.errors import Conflict, Invalid
from beadline.kit.looks import Kind, Lede, NumberLine
from beadline.reading import Profile, Trace, UnreadableFile
from beadline.science.drift import Settings, Voice
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
class LateRun:
    """That a run started before the newest recorded one, and the free number where it fits, if any."""

    sentence: str
    free_number: int | None


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
    warnings : tuple of str
        What whoever logged it should look at: a run that came late, a start that can't be.
    """

    cycle: Cycle
    trace_sha256: str
    judgement: Judgement | None
    alert: Alert | None
    already: bool
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedValues:
    """Values of a run that somebody typed, of the official transition and of the cycle; None if not given."""

    hetp_m: float | None = None
    asymmetry: float | None = None
    mean_cv: float | None = None
    variance_cv2: float | None = None
    pressure_drop_pa: float | None = None


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
    voices: tuple[Voice, ...]
    recognised: tuple[str, ...]
    started_at: str
    late: str
    free_number: int | None
    looks_recorded: Conflict | None
    curves: tuple[CurveView, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangedVerdict:
    """A cycle that would be judged differently."""

    cycle: int
    before: str
    kind_before: Kind
    after: str
    kind_after: Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangedAlert:
    """An alert that would be raised, would reach another level or would have no event behind it any more.

    Attributes
    ----------
    alert_id : int or None
        None where it would be new.
    cycle : int
        That opened it.
    what : str
        What would become of it.
    """

    alert_id: int | None
    cycle: int
    what: str
    kind: Kind
    headline: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WouldChange:
    """What other settings of a baseline would have made of a bed's life.

    Attributes
    ----------
    settings : Settings
        As they would be stored.
    baseline : tuple of int
        Cycles that would define normal; empty while they are learnt.
    counts : tuple
        For each verdict its kind and how many cycles have it now and would have it.
    changes : tuple
        What differs in the settings: label, present, proposed.
    seal : str
        Hash over the present version and the proposed settings, so that what is saved is what was shown.
    """

    settings: Settings
    baseline: tuple[int, ...]
    counts: tuple[tuple[str, Kind, int, int], ...]
    verdicts: tuple[ChangedVerdict, ...]
    alerts: tuple[ChangedAlert, ...]
    changes: tuple[tuple[str, str, str], ...]
    seal: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Version:
    """A version of a baseline's settings, as a list shows it.

    Attributes
    ----------
    changes : tuple
        What it changed: label, before, after; empty for the first.
    signed : str
        "signed", "not signed", or "broken" where what was signed is not what is stored.
    """

    number: int
    made_at: datetime
    made_by: str
    reason: str
    changes: tuple[tuple[str, str, str], ...]
    signed: str
    sha256: str
