"""Start a review, find reviews."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, datetime

from sqlalchemy.orm import Session

from beadline.features.campaign_reviews import queries
from beadline.features.campaign_reviews.schemas import LONGEST_CAMPAIGN, Plan, Policy
from beadline.features.campaign_reviews.service import checks, content, gathering, rules
from beadline.features.records import service as records
from beadline.kit.errors import Conflict, Invalid, NotFound
from beadline.store.tables import CampaignReview, Packing, User


def start(
    session: Session, packing: Packing, plan: Plan, *, policy: Policy, by: User, at: datetime
) -> CampaignReview:
    """Review a bed for a planned campaign; what was found is stored as it is now.

    Raises
    ------
    Invalid
        If the plan can't be.
    Conflict
        If the bed was unpacked.
    """
    if packing.unpacked_at is not None:
        raise Conflict("This bed was unpacked.", where="packing", mend="Choose a bed that is in use.")
    check_plan(plan)
    facts = gathering.facts_of(session, packing, plan, policy)
    made = checks.all_checks(facts)
    proposal = rules.propose(made)
    review = CampaignReview(
        packing_id=packing.id,
        product=plan.product,
        cycles_planned=plan.cycles,
        starts_on=plan.starts_on,
        content=content.content_of(packing, facts, made, proposal, by=by.full_name),
        sentence=content.sentence_of(facts, made),
        proposal=proposal.decision,
        state="draft",
        decision="",
        reason="",
        made_at=at,
        made_by_id=by.id,
    )
    session.add(review)
    session.flush()  # the record needs its id
    said = f"Reviewed {packing.column.name}, packing {packing.number}, for {plan.cycles} cycles"
    said += f" of {plan.product or 'a product not named'}; proposed: {proposal.decision}"
    thing = {"thing": "campaign review", "thing_id": review.id}
    records.write(session, by=by, at=at, did="make", said=said, **thing)  # type: ignore[arg-type]
    return review


def check_plan(plan: Plan) -> None:
    """Refuse a plan that can't be.

    Raises
    ------
    Invalid
        If a number or a name is out of range.
    """
    if not 1 <= plan.cycles <= LONGEST_CAMPAIGN:
        mend = f"Count the cycles planned: 1 to {LONGEST_CAMPAIGN}."
        raise Invalid("This number of cycles can't be reviewed.", where="cycles", mend=mend)
    if len(plan.product) > 80:
        raise Invalid("This name is too long.", where="product", mend="Use at most 80 characters.")
    for where, volume in (("pool_volume_l", plan.pool_volume_l), ("pool_tank_l", plan.pool_tank_l)):
        if volume is not None and not (math.isfinite(volume) and 0 < volume < 1e6):
            raise Invalid("This volume can't be.", where=where, mend="Give litres, above 0.")


def get(session: Session, review_id: int) -> CampaignReview:
    """Return a review with its content, bed and signatures.

    Raises
    ------
    NotFound
        If there is none.
    """
    found = queries.by_id(session, review_id)
    if found is None:
        raise NotFound(
            f"There is no campaign review {review_id}.", where="review", mend="Open it from Campaign review."
        )
    return found


def get_to_sign(session: Session, review_id: int) -> CampaignReview:
    """Return a review that nobody else can sign before this transaction ends."""
    queries.lock(session, review_id)
    return get(session, review_id)


def listed(session: Session, *, page: int, per_page: int) -> tuple[Sequence[CampaignReview], bool]:
    """Return a page of the reviews, newest first, and whether there are more."""
    found = queries.newest(session, limit=per_page + 1, offset=(page - 1) * per_page)
    return found[:per_page], len(found) > per_page


def of_packing(session: Session, packing: Packing) -> Sequence[CampaignReview]:
    """Return the reviews of a bed with content and signatures, oldest first."""
    return queries.of_packing(session, packing.id)


def unfinished(session: Session, *, since: date) -> Sequence[CampaignReview]:
    """Return the newest review of each bed in use that is not approved, of campaigns from a day on."""
    return queries.unfinished(session, since=since)
