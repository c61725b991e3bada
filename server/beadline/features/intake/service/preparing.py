"""Read and analyse a file for a bed: inside the transaction that records it, or ahead of it."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from beadline.features.cycles import queries as cycle_queries
from beadline.features.intake.schemas import AnalysedRun, Corrections
from beadline.features.intake.service.analysis import analyse
from beadline.features.packings import service as packings
from beadline.features.packings.schemas import Bed
from beadline.features.reading_profiles import service as reading_profiles
from beadline.features.reading_profiles.schemas import Saved
from beadline.features.transitions import service as transitions
from beadline.kit.errors import Conflict
from beadline.reading import PlannedTransition
from beadline.store.tables import Packing

Given = tuple[bytes, str, Corrections]


@dataclass(frozen=True, slots=True, eq=False)
class Basis:
    """What the analysis of a file rests on besides the file itself and the profile kept for its layout."""

    packing_id: int
    bed: Bed
    plan: tuple[PlannedTransition, ...]
    last_profile: Mapping[str, Any] | Saved | None
    references: Mapping[str, NDArray[np.float64]]

    def is_that_of(self, other: Basis) -> bool:
        """Tell whether an analysis would come out the same."""
        if self.references.keys() != other.references.keys():
            return False
        alike = all(np.array_equal(curve, other.references[name]) for name, curve in self.references.items())
        names = ("packing_id", "bed", "plan", "last_profile")
        return alike and all(getattr(self, name) == getattr(other, name) for name in names)


@dataclass(frozen=True, slots=True, eq=False)
class Ahead:
    """A file that was analysed before the transaction that is to record it began.

    Attributes
    ----------
    layouts : mapping
        The profile that was kept for each layout that was asked for, by the layout's hash.
    """

    given: Given
    basis: Basis
    layouts: Mapping[str, Saved | None]
    run: AnalysedRun

    def holds(self, session: Session, given: Given, basis: Basis) -> bool:
        """Tell whether the analysis would come out the same now."""
        if self.given != given or not self.basis.is_that_of(basis):
            return False
        return all(reading_profiles.for_layout(session, one) == kept for one, kept in self.layouts.items())


def ahead(
    session: Session,
    packing: Packing,
    content: bytes,
    *,
    filename: str,
    corrections: Corrections | None = None,
) -> Ahead | None:
    """Read and analyse a file, so that the transaction that records it is short; None if it is recorded.

    Raises
    ------
    Invalid
        If the file can't be read.
    Conflict
        If it was logged for another bed.
    """
    if cycle_queries.logged_from(session, packing.id, hashlib.sha256(content).hexdigest()) is not None:
        return None
    return prepared(session, packing, (content, filename, corrections or Corrections()), None)


def prepare(
    session: Session,
    packing: Packing,
    content: bytes,
    *,
    filename: str,
    corrections: Corrections | None = None,
    before: Ahead | None = None,
) -> AnalysedRun:
    """Read and analyse a file for a bed, as the last run of that bed was read.

    What was analysed before is taken if the file, and all that the analysis rests on, is still the same.
    """
    return prepared(session, packing, (content, filename, corrections or Corrections()), before).run


def prepared(session: Session, packing: Packing, given: Given, before: Ahead | None) -> Ahead:
    """Read and analyse what was given, with all that the analysis rests on, to be taken up later."""
    content, filename, corrections = given
    _refuse_of_other_bed(session, packing, content)
    basis = _basis(session, packing)
    if before is not None and before.holds(session, given, basis):
        return before
    layouts: dict[str, Saved | None] = {}

    def of_layout(sha256: str) -> Saved | None:
        return layouts.setdefault(sha256, reading_profiles.for_layout(session, sha256))

    run = analyse(
        content,
        filename=filename,
        bed=basis.bed,
        plan=basis.plan,
        last_profile=basis.last_profile,
        of_layout=of_layout,
        corrections=corrections,
        references=basis.references,
    )
    return Ahead(given, basis, layouts, run)


def _basis(session: Session, packing: Packing) -> Basis:
    return Basis(
        packing_id=packing.id,
        bed=packings.bed_of(packing),
        plan=transitions.planned(packing.step_plan),
        last_profile=_last_profile(session, packing),
        references=transitions.reference_curves(session, packing.id),
    )


def _last_profile(session: Session, packing: Packing) -> Mapping[str, Any] | Saved | None:
    """Return how the bed's last run was read: by a profile, in its newest version, or by one of its own."""
    last = cycle_queries.last_read(session, packing.id)
    return (
        (reading_profiles.newest_version(session, last.reading_profile_id) or last.profile) if last else None
    )


def _refuse_of_other_bed(session: Session, packing: Packing, content: bytes) -> None:
    other = cycle_queries.elsewhere(session, packing.id, hashlib.sha256(content).hexdigest())
    if other is not None:
        raise Conflict(
            f"This file is recorded as cycle {other.number} of {other.packing.column.name}.",
            where="file",
            mend="Choose the right column or the right file.",
            code="file-of-another-bed",
        )
