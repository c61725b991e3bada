"""Whether there is anything to do: asked often, and without keeping anybody from writing."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.notices.service import escalating, outbox


def anything_due(session: Session, *, at: datetime) -> bool:
    """Tell whether something is to be sent now, or somebody has waited for an answer for too long."""
    return outbox.is_due(session, at) or escalating.is_due(session, at)
