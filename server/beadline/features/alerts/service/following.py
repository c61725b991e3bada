"""Alerts follow the judged cycles of their bed: one for each event."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.alerts import queries
from beadline.features.alerts.service import history
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
    bring its evidence up to date. A life that is judged anew raises nothing again.
    """
    told: Alert | None = None
    known = {alert.episode: alert for alert in queries.of_packing(session, packing.id)}
    for one in judged:
        evidence = one.judgement.alert
        if evidence is None:
            continue
        alert = known.get(evidence.episode)
        if alert is None:
            told = known[evidence.episode] = _raise(session, packing, one, evidence, by=by, at=at)
            continue
        if LEVELS.index(evidence.level) > LEVELS.index(alert.level):
            told = alert
            alert.level = evidence.level
            history.note(session, alert, "worsened", by=by, at=at, comment=one.headline)
            alert.status, alert.shelved_until = "raised", None
            history.say(
                session,
                packing,
                alert,
                "raise",
                f"{history.title_of(packing)} reached its action limit",
                by=by,
                at=at,
            )
        _fill(alert, one, evidence)
    _let_return(known, judged)
    return told


def _let_return(known: Mapping[int, Alert], judged: Sequence[Judged]) -> None:
    """Say of every event whether it is over after the newest cycle."""
    present = judged[-1].judgement.alert if judged else None
    for episode, event in known.items():
        event.returned = present is None or episode != present.episode


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
