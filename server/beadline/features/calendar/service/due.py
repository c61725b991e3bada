"""What is due of every bed in use."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from urllib.parse import urlencode

from sqlalchemy.orm import Session

from beadline.features.calendar.schemas import Due, Intervals
from beadline.features.calendar.service import beds
from beadline.features.calendar.service.beds import Bed
from beadline.features.campaign_reviews import service as reviews
from beadline.kit import words
from beadline.store.tables import CampaignReview, PlannedCampaign

NEAR = 0.9  # share of a cycle limit from which it counts as near
AHEAD_DAYS = 180  # a limit that is reached later is not yet due
FORGOTTEN_DAYS = 30  # a review whose campaign should have begun so long ago is not asked for any more


def due(session: Session, intervals: Intervals, *, at: datetime) -> tuple[Due, ...]:
    """Return what is due, soonest first."""
    today = at.date()
    found: list[Due] = []
    for bed in beds.every(session, at):
        found += _pulse_test(bed, intervals, today)
        found += _cycle_limit(bed, today)
        found += _storage(bed, intervals, today)
    since = today - timedelta(days=FORGOTTEN_DAYS)
    found += [_review(one) for one in reviews.unfinished(session, since=since)]
    found += [_campaign(one) for one in reviews.not_reviewed(session, since=since)]
    return tuple(sorted(found, key=lambda one: (one.on, one.bed, one.what)))


def _pulse_test(bed: Bed, intervals: Intervals, today: date) -> Iterator[Due]:
    packing, test = bed.packing, bed.test
    if test is None:
        on, reason = packing.packed_at.date(), "No pulse test has been logged; the bed is not qualified."
    elif test.verdict != "pass":
        on, reason = test.performed_at.date(), f"The newest pulse test is judged “{test.verdict}”."
    else:
        tested = f"{test.performed_at:%-d %b %Y}"
        on = test.performed_at.date() + timedelta(days=intervals.pulse_test_days)
        reason = f"The pulse test of {tested} counts for {intervals.pulse_test_days} days."
        allowed = intervals.pulse_test_cycles
        by_count = _reached(bed, allowed - bed.since_test, today) if allowed else None
        if by_count is not None and by_count < on:
            on = by_count
            reason = f"The pulse test of {tested} counts for {allowed} cycles; {bed.since_test} are run."
    yield Due(
        key=f"pulse-test-{packing.id}",
        what="pulse test",
        bed=bed.name,
        on=on,
        reason=reason,
        href=f"/pulse-tests/new?packing={packing.id}",
    )


def _reached(bed: Bed, left: int, today: date) -> date | None:
    """Return when so many more cycles are run; None if the bed has no pace."""
    if left <= 0:
        return bed.last_run.date() if bed.last_run else today
    return today + timedelta(days=math.floor(left / bed.pace)) if bed.pace else None


def _cycle_limit(bed: Bed, today: date) -> Iterator[Due]:
    """Of the limits of packing and resin lot the one that is reached first is due."""
    packing = bed.packing
    limits = (
        ("packing", bed.used, packing.cycle_limit),
        ("resin lot", bed.lot_used, packing.lot.resin.cycle_limit),
    )
    known = [(thing, used, limit) for thing, used, limit in limits if limit]
    if not known:
        return
    thing, used, limit = min(known, key=lambda one: one[2] - one[1])
    on = _reached(bed, limit - used, today)
    if on is None or (used < NEAR * limit and (on - today).days > AHEAD_DAYS):
        return
    pace = f"; it runs {words.number(bed.pace, 2)} cycles a day" if bed.pace and used < limit else ""
    yield Due(
        key=f"cycle-limit-{packing.id}",
        what="cycle limit",
        bed=bed.name,
        on=on,
        reason=f"{used} of {limit} cycles of the {thing} are used{pace}.",
        href=f"/columns/{packing.column.asset_tag}",
    )


def _storage(bed: Bed, intervals: Intervals, today: date) -> Iterator[Due]:
    """A bed in steady use does not rest; one that rests is told of from half the time on."""
    if bed.last_run is None or 2 * (today - bed.last_run.date()).days < intervals.storage_days:
        return
    yield Due(
        key=f"storage-{bed.packing.id}",
        what="storage",
        bed=bed.name,
        on=bed.last_run.date() + timedelta(days=intervals.storage_days),
        reason=f"Its last run was on {bed.last_run:%-d %b %Y}; "
        f"the site allows {intervals.storage_days} days at rest.",
        href=f"/columns/{bed.packing.column.asset_tag}",
    )


def _review(review: CampaignReview) -> Due:
    left = "an engineer decides" if review.state == "draft" else "quality approves"
    many = f"{review.cycles_planned} cycle{'' if review.cycles_planned == 1 else 's'}"
    product = review.product or "a product not named"
    return Due(
        key=f"review-{review.id}",
        what="review",
        bed=f"{review.packing.column.name}, packing {review.packing.number}",
        on=review.starts_on,
        reason=f"A campaign of {many} of {product} begins; until then {left}.",
        href=f"/campaign-reviews/{review.id}",
    )


def _campaign(one: PlannedCampaign) -> Due:
    asked = {"packing": one.packing_id, "product": one.product, "cycles": one.cycles}
    many = f"{one.cycles} cycle{'' if one.cycles == 1 else 's'}"
    return Due(
        key=f"campaign-{one.id}",
        what="review",
        bed=f"{one.packing.column.name}, packing {one.packing.number}",
        on=one.starts_on,
        reason=f"A campaign of {many} of {one.product or 'a product not named'} begins; no review is begun.",
        href=f"/campaign-reviews/new?{urlencode(asked | {'starts_on': one.starts_on.isoformat()})}",
        planned_id=one.id,
    )
