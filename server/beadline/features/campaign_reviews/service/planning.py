"""Plan campaigns, so that the reviews before them are due in time."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from sqlalchemy.orm import Session

from beadline.features.campaign_reviews import queries
from beadline.features.campaign_reviews.schemas import Plan
from beadline.features.campaign_reviews.service.reviewing import check_plan
from beadline.features.records import service as records
from beadline.kit.errors import Conflict, Invalid, NotFound
from beadline.store.tables import Packing, PlannedCampaign, User


def plan(session: Session, packing: Packing, plan: Plan, *, by: User, at: datetime) -> PlannedCampaign:
    """Announce a campaign on a bed.

    Raises
    ------
    Invalid
        If it can't be.
    Conflict
        If the bed was unpacked.
    """
    if packing.unpacked_at is not None:
        raise Conflict("This bed was unpacked.", where="packing", mend="Choose a bed that is in use.")
    check_plan(plan)
    made = PlannedCampaign(
        packing_id=packing.id,
        product=plan.product,
        cycles=plan.cycles,
        starts_on=plan.starts_on,
        made_by_id=by.id,
        made_at=at,
    )
    session.add(made)
    session.flush()  # the record needs its id
    said = f"Planned {plan.cycles} cycles on {packing.column.name}, packing {packing.number}"
    said += f", from {plan.starts_on:%Y-%m-%d}"
    _say(session, made, "plan", said, by=by, at=at)
    return made


def call_off(session: Session, campaign_id: int, *, reason: str, by: User, at: datetime) -> None:
    """Call a planned campaign off.

    Raises
    ------
    NotFound
        If there is none.
    Invalid
        If no reason is given.
    Conflict
        If it was called off before.
    """
    found = queries.planned_by_id(session, campaign_id)
    if found is None:
        raise NotFound(f"There is no planned campaign {campaign_id}.", mend="Look on the Calendar.")
    if not reason.strip():
        raise Invalid("A reason is missing.", where="reason", mend="Say why; it stays in the record.")
    if found.called_off_at is not None:
        raise Conflict("This campaign was called off before.", mend="Load the page again.")
    found.called_off_at, found.called_off_reason = at, reason.strip()
    _say(session, found, "call off", "Called a planned campaign off", by=by, at=at, why=reason.strip())


def not_reviewed(session: Session, *, since: date) -> Sequence[PlannedCampaign]:
    """Return the planned campaigns from a day on, of beds in use, that no review was begun for."""
    return queries.planned_without_review(session, since=since)


def _say(
    session: Session, campaign: PlannedCampaign, did: str, said: str, *, by: User, at: datetime, why: str = ""
) -> None:
    thing = "planned campaign"
    records.write(session, by=by, at=at, did=did, thing=thing, thing_id=campaign.id, said=said, why=why)
