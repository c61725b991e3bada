"""What was forecast, and what came since."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from beadline.features.campaign_reviews.schemas import Came
from beadline.features.campaign_reviews.service import gathering
from beadline.features.cycles import queries as cycle_queries
from beadline.features.transitions import queries as transition_queries
from beadline.features.transitions import service as transitions
from beadline.kit import looks, words
from beadline.store.tables import CampaignReview


def came(session: Session, review: CampaignReview) -> tuple[Came, ...]:
    """Return what came of each metric that was forecast; empty before the first cycle."""
    plan = review.content["plan"]
    numbers = range(plan["first_cycle"], plan["last_cycle"] + 1)
    logged = [c for c in cycle_queries.of_packing(session, review.packing_id) if c.excluded_at is None]
    since = [cycle for cycle in logged if cycle.number in numbers]
    if not since:
        return ()
    rows = transition_queries.of_packing(session, review.packing_id)
    official = transitions.official(transitions.planned(review.packing.step_plan)).name
    values = gathering.series(official, since, rows)
    return tuple(
        _came(one, dict(values[one["key"]])) for one in review.content["forecasts"] if one["key"] in values
    )


def _came(one: Mapping[str, Any], values: Mapping[int, float]) -> Came:
    """Hold what came of one metric against its band and its limits, in the units of the screen."""
    factor = gathering.science_metric(one["key"]).factor
    seen = {cycle: value * factor for cycle, value in values.items()}
    band = {
        cycle: (low, high) for cycle, low, high in zip(one["cycles"], one["low"], one["high"], strict=True)
    }
    newest = max(seen)
    low, high = band.get(newest, (None, None))
    inside = [cycle for cycle, value in seen.items() if cycle in band and not _beyond(value, band[cycle])]
    return Came(
        label=one["label"],
        unit=one["unit"],
        readings=len(seen),
        expected=looks.span(low, high, one["digits"]) or "not known",
        inside=len(inside) if band else None,
        past_alert=tuple(cycle for cycle, value in seen.items() if _beyond(value, one["alert"])),
        past_action=tuple(cycle for cycle, value in seen.items() if _beyond(value, one["action"])),
        newest=words.number(seen[newest], one["digits"]),
    )


def _beyond(value: float, limits: Any) -> bool:
    return gathering.beyond(value, (limits[0], limits[1]))
