"""An alert on paper: what was seen, what it may be, who was told, what was done."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy.orm import Session

from beadline.features.alerts import service as alerts
from beadline.features.alerts.schemas import EvidenceLine
from beadline.features.notices import service as notices
from beadline.features.notices.schemas import Delivery
from beadline.features.overview import service as overview
from beadline.features.overview.service import Story
from beadline.features.packings import service as packings
from beadline.features.reports.service import pictures, setting
from beadline.features.reports.service.setting import Sheet
from beadline.kit import words
from beadline.science.causes import FEATURE_WORDS
from beadline.science.drift.reading import metric_of
from beadline.store.tables import Alert

MOST_TRENDS = 4
MOST_EVIDENCE = 12
MOST_CAUSES = 4


def alert_report(session: Session, alert_id: int, sheet: Sheet) -> bytes:
    """Return an alert as PDF.

    Raises
    ------
    NotFound
        If there is no such alert.
    """
    alert = alerts.get(session, alert_id)
    packing = packings.get(session, alert.packing_id)
    story = overview.of_bed(session, packing.column.asset_tag, packing_id=packing.id)
    evidence = alerts.evidence_of(session, alert)
    said = _seen(alert, sheet) | {
        "bed": setting.bed_name(packing),
        "facts": setting.bed_facts(packing, sheet),
        "done_near": alerts.done_near(session, alert),
        "evidence": [_moved(line) for line in evidence[:MOST_EVIDENCE]],
        "more": max(0, len(evidence) - MOST_EVIDENCE),
        "told": [_told(one, sheet) for one in notices.deliveries_of(session, alert.id)],
        "trail": setting.trail(session, [("alert", alert.id)], sheet),
    }
    return sheet.printed("reports/alert.typ", said, _pictures(session, story, alert, _to_draw(evidence)))


def _to_draw(evidence: Sequence[EvidenceLine]) -> list[str]:
    """Choose what is drawn of an alert's evidence: the plate height if it moved, then what moved most.

    Each metric once, in the transition in which it moved most.
    """
    chosen: dict[str, str] = {}
    for line in sorted(evidence, key=lambda line: metric_of(line.key).name != "hetp_moments"):
        if line.now:
            chosen.setdefault(metric_of(line.key).name, line.key)
    return list(chosen.values())[:MOST_TRENDS]


def _seen(alert: Alert, sheet: Sheet) -> dict[str, Any]:
    raised = f"{sheet.moment(alert.raised_at)} by cycle {alert.raised_by_cycle.number}"
    shelved = f" until {sheet.moment(alert.shelved_until)}" if alert.status == "shelved" else ""
    return {
        "id": alert.id,
        "level": alert.level,
        "status": alerts.standing(alert, sheet.at) + shelved,
        "returned": alert.returned,
        "headline": alert.headline,
        "sentence": alert.sentence,
        "raised": raised,
        "began": f"about cycle {alert.since_cycle} (between {alert.since_low} and {alert.since_high})",
        "latest": alert.latest_cycle.number,
        "causes": [_cause(one) for one in alert.causes[:MOST_CAUSES]],
        "less_likely": [one["name"] for one in alert.causes[MOST_CAUSES:]],
        "events": [
            {
                "did": one.did,
                "who": f"{one.user.full_name}, {one.user.role}",
                "at": sheet.moment(one.at),
                "comment": one.comment,
            }
            for one in alert.events
        ],
    }


def _moved(line: EvidenceLine) -> dict[str, str]:
    unit = f", {line.unit}" if line.unit not in ("", "1") else ""
    return {
        "label": line.label[:1].upper() + line.label[1:] + unit,
        "baseline": line.baseline,
        "now": line.now,
        "change": line.change,
        "shift": words.signed(line.shift_sd),
    }


def _cause(one: dict[str, Any]) -> dict[str, Any]:
    spoken = {side: [FEATURE_WORDS.get(name, name) for name in one[side]] for side in ("because", "against")}
    whole = {name: one[name] for name in ("name", "check", "cure", "source")}
    return whole | spoken | {"match": words.decimals(one["match"], 2)}


def _told(one: Delivery, sheet: Sheet) -> dict[str, str]:
    state = f"sent {sheet.moment(one.sent_at)}" if one.sent_at else f"{one.state}, {one.attempts} attempts"
    error = f" ({one.last_error})" if one.last_error else ""
    return {"route": one.route, "to": f"{one.way} to {one.to}", "event": one.event, "state": state + error}


def _pictures(session: Session, story: Story, alert: Alert, keys: Sequence[str]) -> dict[str, Any]:
    """Draw what moved over the life of the bed, and the curve of the alert's latest cycle."""
    marks = [(alert.since_cycle - 0.5, "began about here")]
    return {
        "trends": pictures.trends([overview.trend(story, key) for key in keys], marks),
        "curve": pictures.curve_of(session, story, alert.latest_cycle.number),
    }
