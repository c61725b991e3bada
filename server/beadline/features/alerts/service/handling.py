"""What people do with an alert: acknowledge, comment, shelve, close."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from beadline.features.accounts import queries as accounts
from beadline.features.accounts.schemas import deeds_of
from beadline.features.alerts.service import history
from beadline.features.alerts.service.listing import standing
from beadline.kit.errors import Conflict, Invalid
from beadline.store.tables import Alert, User

LONGEST_SHELF_DAYS = 30


def acknowledge(session: Session, alert: Alert, *, comment: str, by: User, at: datetime) -> None:
    """Say that somebody has seen an alert; it stays open.

    Raises
    ------
    Invalid
        If there is no comment.
    Conflict
        If it is not waiting to be acknowledged.
    """
    _need_comment(comment, "Say what you saw or will do.")
    if standing(alert, at) != "raised":
        raise Conflict(
            f"This alert is {alert.status} already.", mend="Load the page again to see who has it."
        )
    alert.status, alert.shelved_until = "acknowledged", None
    history.note(session, alert, "acknowledged", by=by, at=at, comment=comment.strip())
    said = f"Acknowledged {_named(alert)}"
    history.say(session, alert.packing, alert, "acknowledge", said, by=by, at=at, why=comment.strip())


def remark(session: Session, alert: Alert, *, comment: str, by: User, at: datetime) -> None:
    """Add a comment to an alert.

    Raises
    ------
    Invalid
        If it is empty.
    """
    _need_comment(comment, "Write the comment.")
    history.note(session, alert, "commented", by=by, at=at, comment=comment.strip())
    said = f"Commented the alert of {history.title_of(alert.packing)}"
    history.say(session, alert.packing, alert, "comment", said, by=by, at=at, why=comment.strip())


def close(session: Session, alert: Alert, *, comment: str, by: User, at: datetime) -> None:
    """Close an alert with what was done about it.

    Raises
    ------
    Invalid
        If nothing is said.
    Conflict
        If nobody has acknowledged it, or it is closed.
    """
    _need_comment(comment, "Say what was found and done.")
    status = standing(alert, at)
    if status not in ("acknowledged", "shelved"):
        raise Conflict(f"This alert is {status}.", mend="An alert is acknowledged first, then closed.")
    alert.status, alert.shelved_until = "closed", None
    history.note(session, alert, "closed", by=by, at=at, comment=comment.strip())
    said = f"Closed {_named(alert)}"
    history.say(session, alert.packing, alert, "close", said, by=by, at=at, why=comment.strip())


def shelve(session: Session, alert: Alert, *, days: int | None, comment: str, by: User, at: datetime) -> None:
    """Put an alert aside for some days; then it waits to be acknowledged again.

    Raises
    ------
    Invalid
        If nothing is said, or the days can't be right.
    Conflict
        If it is closed or shelved.
    """
    _need_comment(comment, "Say why it can wait.")
    if days is None or not 1 <= days <= LONGEST_SHELF_DAYS:
        mend = f"Give 1 to {LONGEST_SHELF_DAYS} days."
        raise Invalid("An alert is shelved for a number of days.", where="shelve_days", mend=mend)
    if standing(alert, at) not in ("raised", "acknowledged"):
        raise Conflict(f"This alert is {alert.status}.", mend="Load the page again to see who has it.")
    alert.status, alert.shelved_until = "shelved", at + timedelta(days=days)
    history.note(session, alert, "shelved", by=by, at=at, comment=comment.strip())
    said = f"Shelved the alert of {history.title_of(alert.packing)} for {days} days"
    history.say(session, alert.packing, alert, "shelve", said, by=by, at=at, why=comment.strip())


def assign(session: Session, alert: Alert, to: User | None, *, by: User, at: datetime) -> None:
    """Give an alert to somebody who may acknowledge it, or to nobody.

    Raises
    ------
    Invalid
        If that person may not handle alerts.
    Conflict
        If it is closed.
    """
    if alert.status == "closed":
        raise Conflict("This alert is closed.", mend="A closed alert is nobody's task any more.")
    if to is not None and not (to.active and "acknowledge" in deeds_of(to.role)):
        raise Invalid(
            f"{to.full_name} may not handle alerts.", where="assigned_to", mend="Choose one of the list."
        )
    alert.assigned_to_id = to.id if to else None
    said = f"to {to.full_name}" if to else "to nobody"
    history.note(session, alert, "assigned", by=by, at=at, comment=f"Assigned {said}.")
    whole = f"Assigned {_named(alert)} {said}"
    history.say(session, alert.packing, alert, "assign", whole, by=by, at=at)


def may_handle(session: Session) -> list[User]:
    """Return the people to whom an alert can be assigned."""
    return [user for user in accounts.users(session) if user.active and "acknowledge" in deeds_of(user.role)]


def _named(alert: Alert) -> str:
    return f"the alert of {history.title_of(alert.packing)} raised with cycle {alert.raised_by_cycle.number}"


def _need_comment(comment: str, mend: str) -> None:
    if not comment.strip():
        raise Invalid("A comment is missing.", where="comment", mend=mend)
    if len(comment) > 4000:
        raise Invalid("This comment is too long.", where="comment", mend="Use at most 4000 characters.")
