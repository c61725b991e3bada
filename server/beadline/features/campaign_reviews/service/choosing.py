"""Which checks the site makes: every change is a version with a reason, in the audit trail too."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.campaign_reviews import queries
from beadline.features.campaign_reviews.schemas import CHECKS
from beadline.features.records import service as records
from beadline.kit.errors import Conflict, Invalid
from beadline.store.tables import ReviewChecks, User


def left_out(session: Session) -> frozenset[str]:
    """Return the checks that the site leaves out now."""
    newest = next(iter(queries.choices_of_checks(session, limit=1)), None)
    return frozenset(newest.left_out) if newest else frozenset()


def versions(session: Session, *, limit: int) -> Sequence[ReviewChecks]:
    """Return what was chosen, newest first, with who chose it."""
    return queries.choices_of_checks(session, limit=limit)


def choose(session: Session, made: Collection[str], *, reason: str, by: User, at: datetime) -> None:
    """Choose which checks the site makes from now on; reviews that exist keep what they were made with.

    Raises
    ------
    Invalid
        If a check is not known, none is left, or no reason is given.
    Conflict
        If that is what the site does already.
    """
    unknown = sorted(set(made) - set(CHECKS))
    if unknown:
        mend = f"There are: {', '.join(CHECKS)}."
        raise Invalid(f"There is no check {', '.join(unknown)}.", where="checks", mend=mend)
    if not made:
        raise Invalid("No check is left.", where="checks", mend="Keep at least one.")
    if not reason.strip():
        raise Invalid("A reason is missing.", where="reason", mend="Say why; it stays in the record.")
    before = left_out(session)
    leaving = [name for name in CHECKS if name not in made]
    if before == frozenset(leaving):
        raise Conflict("These checks are made already.", where="checks", mend="Change one of them.")
    chosen = ReviewChecks(left_out=leaving, reason=reason.strip(), made_by_id=by.id, made_at=at)
    session.add(chosen)
    session.flush()  # the record needs its id
    records.write(
        session,
        by=by,
        at=at,
        did="change",
        thing="campaign checks",
        thing_id=chosen.id,
        said=f"Chose the checks before a campaign; left out: {', '.join(leaving) or 'none'}",
        why=reason.strip(),
        before={"left_out": [name for name in CHECKS if name in before]},
        after={"left_out": leaving},
    )
