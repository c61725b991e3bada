"""Alerts follow the judged cycles of their bed: one for each event."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.alerts import queries
from beadline.features.alerts.service import history, matching
from beadline.features.drift import queries as drift_queries
from beadline.features.drift.schemas import Judged
from beadline.science.drift import AlertEvidence
from beadline.science.drift.reading import label_of
from beadline.store.tables import Alert, Packing, User

LEVELS = ("alert", "action")


def follow(
    session: Session, packing: Packing, judged: Sequence[Judged], *, by: User, at: datetime
) -> Alert | None:
    """Let the alerts of a bed follow newly judged cycles; return the one that was raised or worsened.

    An event is raised once, and once more when it reaches the action level; cycles in between only
    bring its evidence up to date. A life that is judged anew raises nothing again. What an alert said under
    an earlier version of the baseline stays: only cycles that came after it, or a higher level, add to it.
    """
    told: Alert | None = None
    every = queries.with_cycles(session, packing.id)
    known = _numbered(session, every, matching.matched(every, judged))
    said_until = _said_until(session, packing, every)
    for one in judged:
        evidence = one.judgement.alert
        if evidence is None:
            continue
        alert = known.get(evidence.episode)
        if alert is None:
            _numbered(session, every, {evidence.episode: None})
            told = known[evidence.episode] = _raise(session, packing, one, evidence, by=by, at=at)
        elif LEVELS.index(evidence.level) > LEVELS.index(alert.level):
            told = alert
            _worsen(session, packing, alert, one, evidence, by=by, at=at)
        elif one.cycle.number > said_until.get(alert.id, 0):
            _fill(alert, one, evidence)
    _let_return([*every, *known.values()], judged)
    return told


def _numbered(
    session: Session, every: Sequence[Alert], events: Mapping[int, Alert | None]
) -> dict[int, Alert]:
    """Give alerts the numbers that their events have now; who holds one of another event loses it."""
    for number, alert in events.items():
        for other in every:
            if other.episode == number and other is not alert:
                other.episode = -other.id
                session.flush()  # no two alerts of a bed hold one number
        if alert is not None and alert.episode != number:
            alert.episode = number
            session.flush()
    return {number: alert for number, alert in events.items() if alert is not None}


def _said_until(session: Session, packing: Packing, every: Sequence[Alert]) -> dict[int, int]:
    """Return the newest cycle of each alert that was raised under an earlier version of the baseline."""
    present = drift_queries.baseline(session, packing.id)
    return {
        alert.id: alert.latest_cycle.number
        for alert in every
        if present is not None and alert.raised_at < present.made_at
    }


def _let_return(every: Sequence[Alert], judged: Sequence[Judged]) -> None:
    """Say of every event whether it is over after the newest cycle."""
    present = judged[-1].judgement.alert if judged else None
    for alert in every:
        alert.returned = present is None or alert.episode != present.episode


def _worsen(
    session: Session,
    packing: Packing,
    alert: Alert,
    one: Judged,
    evidence: AlertEvidence,
    *,
    by: User,
    at: datetime,
) -> None:
    before = {"level": alert.level, "status": alert.status, "sentence": alert.sentence}
    alert.level = evidence.level
    history.note(session, alert, "worsened", by=by, at=at, comment=one.headline)
    alert.status, alert.shelved_until = "raised", None
    said = f"{history.title_of(packing)} reached its action limit"
    history.say(session, packing, alert, "raise", said, by=by, at=at, before=before)
    _fill(alert, one, evidence)


def _raise(
    session: Session, packing: Packing, one: Judged, evidence: AlertEvidence, *, by: User, at: datetime
) -> Alert:
    alert = Alert(
        packing_id=packing.id,
        episode=evidence.episode,
        level=evidence.level,
        status="raised",
        raised_at=at,
        raised_by_cycle_id=one.cycle.id,
        returned=False,
    )
    _fill(alert, one, evidence)
    session.add(alert)
    session.flush()  # its history needs its id
    history.note(session, alert, "raised", by=by, at=at, comment=one.headline)
    said = f"{history.title_of(packing)} passed its {evidence.level} limit with cycle {one.cycle.number}"
    history.say(session, packing, alert, "raise", said, by=by, at=at)
    return alert


def _fill(alert: Alert, one: Judged, evidence: AlertEvidence) -> None:
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
