"""What happened to a packing: tests, cleaning and work, alerts, baselines, campaign reviews, exclusions."""

from __future__ import annotations

from typing import Any

from sqlalchemy.orm import Session

from beadline.features.alerts import service as alerts
from beadline.features.bed_events import queries as event_queries
from beadline.features.bed_events import service as bed_events
from beadline.features.bed_events.schemas import Placed
from beadline.features.campaign_reviews import service as reviews
from beadline.features.drift import queries as drift_queries
from beadline.features.drift import service as drift
from beadline.features.overview.service import Story
from beadline.features.pulse_tests import service as pulse_tests
from beadline.features.reports.service.setting import Sheet
from beadline.kit import words
from beadline.store.tables import CampaignReview, Packing, PulseTest


def told(session: Session, packing: Packing, story: Story, sheet: Sheet) -> dict[str, list[dict[str, Any]]]:
    """Return the tables of what happened, each oldest first."""
    events = event_queries.of_packing(session, packing.id, with_voided=True)
    placed = bed_events.placed(events, [(cycle.number, cycle.started_at) for cycle in story.cycles])
    return {
        "tests": [_test(one, sheet) for one in reversed(pulse_tests.of_packing(session, packing))],
        "events": [_event(one, sheet) for one in placed],
        "alerts": [
            {
                "id": one.id,
                "raised": sheet.moment(one.raised_at),
                "since": one.since_cycle,
                "level": one.level,
                "status": alerts.standing(one, sheet.at),
                "headline": one.headline,
            }
            for one in reversed(story.alerts)
        ],
        "versions": [
            {
                "version": one.version,
                "made": f"{sheet.moment(one.made_at)} by {one.made_by.full_name}",
                "reason": one.reason,
                "signature": drift.signature(one),
                "sha256": one.signed_sha256 or "",
            }
            for one in reversed(drift_queries.baselines(session, packing.id))
        ],
        "reviews": [_review(one, sheet) for one in reviews.of_packing(session, packing)],
        "excluded": [
            {
                "cycle": cycle.number,
                "reason": cycle.excluded_reason,
                "by": cycle.excluded_by.full_name,
                "at": sheet.moment(cycle.excluded_at),
            }
            for cycle in story.cycles
            if cycle.excluded_by is not None
        ],
    }


def _event(placed: Placed, sheet: Sheet) -> dict[str, Any]:
    event = placed.event
    return {
        "id": event.id,
        "what": f"{placed.name}, voided: {event.void_reason}" if event.voided_at else placed.name,
        "when": sheet.moment(event.happened_at),
        "after": placed.after_cycle,
        "note": event.note,
        "by": event.noted_by.full_name,
    }


def _test(one: PulseTest, sheet: Sheet) -> dict[str, str]:
    def value(name: str) -> str:
        pair = one.estimates.get(name)
        return words.number(pair[0], 3) if pair else ""

    return {
        "performed": sheet.moment(one.performed_at),
        "verdict": f"{one.verdict}, voided: {one.void_reason}" if one.voided_at else one.verdict,
        "h": value("reduced_plate_height"),
        "asymmetry": value("asymmetry"),
        "by": one.logged_by.full_name,
    }


def _review(one: CampaignReview, sheet: Sheet) -> dict[str, Any]:
    return {
        "id": one.id,
        "made": sheet.moment(one.made_at),
        "planned": f"{one.cycles_planned} cycles of {one.product or 'a product not named'}",
        "decision": one.decision or "not decided",
        "proposal": one.proposal,
        "state": one.state,
        "signatures": [
            {
                "who": signed.who,
                "role": signed.role,
                "meaning": signed.meaning,
                "at": sheet.moment(signed.at),
                "sha256": signed.content_sha256,
                "broken": signed.broken,
            }
            for signed in reviews.signatures(one)
        ],
    }
