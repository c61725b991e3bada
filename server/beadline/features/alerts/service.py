"""Alerts: one for each event of a bed; raised with the run that shows it, and followed by people."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from beadline.features.alerts import queries
from beadline.features.drift.schemas import Judged
from beadline.features.records import service as records
from beadline.kit.errors import Conflict, Invalid, NotFound
from beadline.science.drift import AlertEvidence
from beadline.science.drift.reading import label_of
from beadline.store.tables import Alert, AlertEvent, Packing, User

LEVELS = ("alert", "action")
LONGEST_SHELF_DAYS = 30


def follow(
    session: Session, packing: Packing, judged: Sequence[Judged], *, by: User, at: datetime
) -> Alert | None:
    """Let the alerts of a bed follow newly judged cycles; return the one that was raised or worsened.

    An event is raised once, and once more when it reaches the action level; cycles in between only
    bring its evidence up to date.
    """
    told: Alert | None = None
    known = {alert.episode: alert for alert in queries.of_packing(session, packing.id)}
    for one in judged:
        evidence = one.judgement.alert
        for episode, event in known.items():
            event.returned = event.returned or evidence is None or episode != evidence.episode
        if evidence is None:
            continue
        alert = known.get(evidence.episode)
        if alert is None:
            told = known[evidence.episode] = _raise(session, packing, one, evidence, by=by, at=at)
            continue
        if LEVELS.index(evidence.level) > LEVELS.index(alert.level):
            told = alert
            _note(session, alert, "worsened", by=by, at=at, comment=one.headline)
            alert.status, alert.shelved_until = "raised", None
            _say(
                session, packing, alert, "raise", f"{_title(packing)} reached its action limit", by=by, at=at
            )
        _fill(alert, one, evidence)
    return told


def _raise(
    session: Session, packing: Packing, one: Judged, evidence: AlertEvidence, *, by: User, at: datetime
) -> Alert:
    alert = Alert(
        packing_id=packing.id,
        episode=evidence.episode,
        status="raised",
        raised_at=at,
        raised_by_cycle_id=one.cycle.id,
        returned=False,
    )
    _fill(alert, one, evidence)
    session.add(alert)
    session.flush()  # its history needs its id
    _note(session, alert, "raised", by=by, at=at, comment=one.headline)
    said = f"{_title(packing)} passed its {evidence.level} limit with cycle {one.cycle.number}"
    _say(session, packing, alert, "raise", said, by=by, at=at)
    return alert


def _fill(alert: Alert, one: Judged, evidence: AlertEvidence) -> None:
    alert.level = evidence.level
    alert.latest_cycle_id = one.cycle.id
    alert.since_cycle, alert.since_low, alert.since_high = (
        evidence.since,
        evidence.since_low,
        evidence.since_high,
    )
    alert.score = evidence.score
    alert.headline = one.headline or evidence.sentence
    alert.sentence = evidence.sentence
    alert.evidence = [
        {"key": key, "label": label_of(key), "size": round(size, 2)}
        for key, size in sorted(evidence.sizes.items(), key=lambda item: -abs(item[1]))
    ]
    alert.causes = [asdict(cause) for cause in evidence.causes]


def _title(packing: Packing) -> str:
    return f"{packing.column.name}, packing {packing.number},"


def _note(session: Session, alert: Alert, did: str, *, by: User, at: datetime, comment: str = "") -> None:
    session.add(AlertEvent(alert_id=alert.id, at=at, user_id=by.id, did=did, comment=comment))


def _say(
    session: Session,
    packing: Packing,
    alert: Alert,
    did: str,
    said: str,
    *,
    by: User,
    at: datetime,
    why: str = "",
) -> None:
    after: dict[str, Any] = {"level": alert.level, "status": alert.status, "packing_id": packing.id}
    records.write(
        session, by=by, at=at, did=did, thing="alert", thing_id=alert.id, said=said, why=why, after=after
    )


def told_at(session: Session, packing: Packing, at: datetime) -> Alert | None:
    """Return the alert that a run raised or worsened when it was logged at this moment."""
    return queries.told_at(session, packing.id, at)


def get(session: Session, alert_id: int) -> Alert:
    """Return an alert.

    Raises
    ------
    NotFound
        If there is none.
    """
    alert = queries.by_id(session, alert_id)
    if alert is None:
        raise NotFound(f"There is no alert {alert_id}.", where="alert", mend="Open it from the Alerts page.")
    return alert


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
    _note(session, alert, "acknowledged", by=by, at=at, comment=comment.strip())
    said = (
        f"Acknowledged the alert of {_title(alert.packing)} raised with cycle {alert.raised_by_cycle.number}"
    )
    _say(session, alert.packing, alert, "acknowledge", said, by=by, at=at, why=comment.strip())


def remark(session: Session, alert: Alert, *, comment: str, by: User, at: datetime) -> None:
    """Add a comment to an alert.

    Raises
    ------
    Invalid
        If it is empty.
    """
    _need_comment(comment, "Write the comment.")
    _note(session, alert, "commented", by=by, at=at, comment=comment.strip())
    said = f"Commented the alert of {_title(alert.packing)}"
    _say(session, alert.packing, alert, "comment", said, by=by, at=at, why=comment.strip())


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
    if alert.status not in ("acknowledged", "shelved"):
        raise Conflict(f"This alert is {alert.status}.", mend="An alert is acknowledged first, then closed.")
    alert.status, alert.shelved_until = "closed", None
    _note(session, alert, "closed", by=by, at=at, comment=comment.strip())
    said = f"Closed the alert of {_title(alert.packing)} raised with cycle {alert.raised_by_cycle.number}"
    _say(session, alert.packing, alert, "close", said, by=by, at=at, why=comment.strip())


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
    _note(session, alert, "shelved", by=by, at=at, comment=comment.strip())
    said = f"Shelved the alert of {_title(alert.packing)} for {days} days"
    _say(session, alert.packing, alert, "shelve", said, by=by, at=at, why=comment.strip())


def standing(alert: Alert, at: datetime) -> str:
    """Return an alert's status: one whose time on the shelf is over waits again."""
    over = alert.status == "shelved" and alert.shelved_until is not None and alert.shelved_until <= at
    return "raised" if over else alert.status


def waiting(session: Session, at: datetime) -> int:
    """Return how many alerts wait to be acknowledged, those back from the shelf among them."""
    return queries.count_waiting(session, at)


def counts(session: Session) -> dict[tuple[str, str], int]:
    """Return how many alerts there are of each status and level."""
    return queries.count_by_status(session)


def listed(session: Session, *, statuses: Sequence[str], page: int, per_page: int) -> Sequence[Alert]:
    """Return a page of alerts: action level first, then the newest."""
    return queries.listed(session, statuses=statuses, limit=per_page, offset=(page - 1) * per_page)


def _need_comment(comment: str, mend: str) -> None:
    if not comment.strip():
        raise Invalid("A comment is missing.", where="comment", mend=mend)
    if len(comment) > 4000:
        raise Invalid("This comment is too long.", where="comment", mend="Use at most 4000 characters.")
