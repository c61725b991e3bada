"""How this site reads and judges pulse tests: versions, the newest of which holds."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.pulse_tests import queries
from beadline.features.pulse_tests.schemas import SHIPPED, Standard
from beadline.features.records import service as records
from beadline.kit.errors import Conflict, Invalid
from beadline.science import pulse
from beadline.store.tables import PulseCriteria, User


def present(session: Session) -> Standard:
    """Return what holds now: the site's newest version, or what is shipped until there is one."""
    newest = queries.newest_criteria(session)
    if newest is None:
        return SHIPPED
    return Standard(
        criteria=pulse.Criteria.from_dict(newest.criteria),
        settings=pulse.Settings.from_dict(newest.settings),
        version=newest.version,
    )


def change(session: Session, wanted: Standard, *, reason: str, by: User, at: datetime) -> PulseCriteria:
    """Keep a new version; tests that were judged keep the criteria that they were judged by.

    Raises
    ------
    Invalid
        If no reason is given.
    Conflict
        If nothing would change.
    """
    now = present(session)
    if not reason.strip():
        raise Invalid("A reason is missing.", where="reason", mend="Say why, or name the procedure.")
    if (wanted.criteria, wanted.settings) == (now.criteria, now.settings):
        raise Conflict("These are the criteria that hold.", mend="Change one, or leave them.")
    made = PulseCriteria(
        version=now.version + 1,
        criteria=wanted.criteria.to_dict(),
        settings=wanted.settings.to_dict(),
        reason=reason.strip(),
        made_at=at,
        made_by_id=by.id,
    )
    session.add(made)
    session.flush()  # the record needs its id
    said = f"Set the criteria of pulse tests, version {made.version}: {_changes(now, wanted)}"
    records.write(
        session, by=by, at=at, did="set", thing="pulse criteria", thing_id=made.id, said=said, why=made.reason
    )
    return made


def _changes(before: Standard, after: Standard) -> str:
    old = before.criteria.to_dict() | before.settings.to_dict()
    new = after.criteria.to_dict() | after.settings.to_dict()
    return "; ".join(
        f"{name.replace('_', ' ')} {_plain(old[name])} to {_plain(value)}"
        for name, value in new.items()
        if value != old[name]
    )


def _plain(value: object) -> str:
    if isinstance(value, tuple):
        low, high = ("open" if side is None else f"{side:g}" for side in value)
        return f"{low}..{high}"
    return str(value)
