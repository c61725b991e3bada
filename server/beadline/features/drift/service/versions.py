"""The settings by which a bed is watched: versions, and their signatures."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from datetime import UTC, datetime

from sqlalchemy.orm import Session

from beadline.features.drift import queries
from beadline.science import drift as science
from beadline.store.tables import Baseline, Packing, User


def baseline_of(session: Session, packing: Packing, *, by: User, at: datetime) -> Baseline:
    """Return the settings by which a bed is watched, made with the shipped defaults if there are none."""
    found = queries.baseline(session, packing.id)
    if found is None:
        found = Baseline(
            packing_id=packing.id,
            version=1,
            settings=science.Settings().to_dict(),
            made_at=at,
            made_by_id=by.id,
            reason="Shipped defaults",
        )
        session.add(found)
        session.flush()  # judgements name it
    return found


def add_version(
    session: Session,
    packing: Packing,
    settings: science.Settings,
    *,
    reason: str,
    signed: bool,
    by: User,
    at: datetime,
) -> Baseline:
    """Add a version of the settings by which a bed is watched, signed by who makes it if so wished."""
    present = baseline_of(session, packing, by=by, at=at)
    made = Baseline(
        packing_id=packing.id,
        version=present.version + 1,
        settings=replace(settings, method=science.METHOD, version=science.VERSION).to_dict(),
        made_at=at,
        made_by_id=by.id,
        reason=reason,
    )
    if signed:
        made.signed_at = at
        made.signed_sha256 = content_sha256(made)
    session.add(made)
    session.flush()  # judgements name it
    return made


def content_sha256(version: Baseline) -> str:
    """Return the hash over all that a version of a baseline says, which a signature is bound to."""
    content = [
        version.packing_id,
        version.version,
        version.settings,
        version.reason,
        version.made_by_id,
        *(at.astimezone(UTC).isoformat() for at in (version.made_at, version.signed_at) if at is not None),
    ]
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()


def signature(version: Baseline) -> str:
    """Say whether a version is "signed", "not signed", or "broken": no longer what was signed."""
    if version.signed_sha256 is None:
        return "not signed"
    return "signed" if content_sha256(version) == version.signed_sha256 else "broken"
