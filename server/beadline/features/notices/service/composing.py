"""What a message says: the alerts as they stand when it is written."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.alerts import service as alerts
from beadline.features.alerts.schemas import EvidenceLine
from beadline.features.notices.schemas import LEVEL_WORDS, Item, Parcel
from beadline.features.notices.service import links, outbox, picturing
from beadline.kit import words
from beadline.store.tables import Alert, Notice

MOST_EVIDENCE = 4
MOST_CAUSES = 3


def parcel(
    session: Session, claim: str, *, address: str, zone: str, demo: bool, at: datetime
) -> Parcel | None:
    """Return the one message of all that is held under a claim; None if another worker has taken it over."""
    held = outbox.held(session, claim)
    if not held:
        return None
    route = held[0].route
    about = {one.alert_id: one.alert for one in held if one.alert is not None}
    alone = next(iter(about.values())) if len(about) == 1 and route.kind == "email" else None
    return Parcel(
        route_id=route.id,
        route_name=route.name,
        kind=route.kind,
        target=route.target,
        secret=route.secret,
        notice_ids=tuple(one.id for one in held),
        items=tuple(
            _item(session, one, one.alert, address=address, at=at) for one in held if one.alert is not None
        ),
        address=address,
        zone=zone,
        demo=demo,
        at=at,
        trend=picturing.trend_of(session, alone) if alone is not None else None,
        curve=picturing.curve_of(session, alone) if alone is not None else None,
    )


def _item(session: Session, notice: Notice, alert: Alert, *, address: str, at: datetime) -> Item:
    column = alert.packing.column
    measured_first = sorted(alerts.evidence_of(session, alert), key=lambda line: not line.now)
    return Item(
        notice_id=notice.id,
        alert_id=alert.id,
        event=notice.event,
        happened=_happened(notice, alert),
        level=alert.level,
        status=alerts.standing(alert, at),
        bed=f"{column.name}, packing {alert.packing.number}",
        column_tag=column.asset_tag,
        column_name=column.name,
        area=column.area,
        packing_number=alert.packing.number,
        headline=alert.headline,
        sentence=" ".join(filter(None, (alert.sentence, alerts.done_near(session, alert)))),
        raised_at=alert.raised_at,
        since_cycle=alert.since_cycle,
        since_low=alert.since_low,
        since_high=alert.since_high,
        latest_cycle=alert.latest_cycle.number,
        evidence=tuple(_moved(line) for line in measured_first[:MOST_EVIDENCE]),
        causes=tuple((_begun(cause["name"]), cause["check"]) for cause in alert.causes[:MOST_CAUSES]),
        link=f"{address}/alerts/{alert.id}",
        answer=links.link(notice.route, notice, address=address),
    )


def _happened(notice: Notice, alert: Alert) -> str:
    if notice.event == "escalated":
        return f"Nobody has acknowledged this alert, which is past the {LEVEL_WORDS[alert.level]}."
    if notice.event == "worsened":
        return "The bed has passed its action limit."
    return f"The bed has passed its {LEVEL_WORDS[notice.level]}."


def _begun(text: str) -> str:
    """Write the first letter as at the start of a sentence."""
    return text[:1].upper() + text[1:]


def _moved(line: EvidenceLine) -> str:
    shift = f"shift {words.signed(line.shift_sd)} SD of the baseline"
    if not line.now:
        return f"{_begun(line.label)}: {shift}"
    unit = f" {line.unit}" if line.unit and line.unit != "1" else ""
    change = f" ({line.change})" if line.change else ""
    return f"{_begun(line.label)}: {line.baseline} to {line.now}{unit}{change}, {shift}"
