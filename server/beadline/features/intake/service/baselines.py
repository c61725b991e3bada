"""Which baseline applies to a bed, and every version there was."""

from __future__ import annotations

from itertools import zip_longest

from sqlalchemy.orm import Session

from beadline.features.drift import queries as drift_queries
from beadline.features.drift import service as drift
from beadline.features.intake.schemas import Version
from beadline.features.intake.service import settings_words
from beadline.kit import words
from beadline.science.drift import Settings
from beadline.science.drift.reading import label_of
from beadline.store.tables import Baseline, BedState, Packing

SIGNED = {
    "signed": ", fixed and signed by {who} on {when}",
    "broken": ", signed by {who} on {when}, but no longer what was signed",
    "not signed": "",
}


def versions(session: Session, packing: Packing) -> tuple[Version, ...]:
    """Return every version of a bed's baseline, newest first, with what each changed."""
    found = drift_queries.baselines(session, packing.id)
    return tuple(_version(one, older) for one, older in zip_longest(found, found[1:]))


def _version(one: Baseline, older: Baseline | None) -> Version:
    changes = (
        settings_words.changes(Settings.from_dict(older.settings), Settings.from_dict(one.settings))
        if older is not None
        else ()
    )
    return Version(
        number=one.version,
        made_at=one.made_at,
        made_by=one.made_by.full_name,
        reason=one.reason,
        changes=changes,
        signed=drift.signature(one),
        sha256=one.signed_sha256 or "",
    )


def present_note(session: Session, packing: Packing) -> str:
    """Say of a bed what `baseline_note` says."""
    version = drift_queries.baseline(session, packing.id, with_maker=True)
    return baseline_note(version, drift_queries.bed_state_to_go_on(session, packing.id))


def baseline_note(version: Baseline | None, standing: BedState | None) -> str:
    """Say in one paragraph which baseline applies to a bed, and for what its limits are set.

    Both as they are stored: the version with who made it, the standing with its state.
    """
    settings = Settings.from_dict(version.settings) if version is not None else Settings()
    cycles = drift.baseline_cycles(standing)
    number = f", version {version.version}" if version is not None else ""
    parts = [
        f"Baseline: cycles {words.runs(cycles)}{number}"
        if cycles
        else f"Baseline{number}: being learnt from the first {settings.baseline_cycles} usable cycles from "
        f"cycle {settings.baseline_start} on"
    ]
    if version is not None:
        parts[0] += SIGNED[drift.signature(version)].format(
            who=version.made_by.full_name, when=f"{version.made_at:%-d %b %Y}"
        )
    parts.append(
        f"limits for about one false alarm in {settings.one_false_alarm_in:g} cycles of the whole bed"
    )
    if settings.fixed_limits:
        parts.append(f"limits by procedure for {', '.join(map(label_of, settings.fixed_limits))}")
    return "; ".join(parts) + "."
