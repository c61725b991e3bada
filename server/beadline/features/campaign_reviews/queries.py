"""Reading campaign reviews."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from sqlalchemy import exists, func, select
from sqlalchemy.orm import Session, joinedload, selectinload, undefer

from beadline.store.tables import CampaignReview, Packing, PlannedCampaign, ReviewChecks


def by_id(session: Session, review_id: int) -> CampaignReview | None:
    """Return a review with its content, bed and signatures."""
    query = select(CampaignReview).where(CampaignReview.id == review_id)
    return session.scalars(
        query.options(
            undefer(CampaignReview.content),
            joinedload(CampaignReview.packing).joinedload(Packing.column),
            joinedload(CampaignReview.packing).joinedload(Packing.step_plan),
            joinedload(CampaignReview.made_by),
            selectinload(CampaignReview.signatures),
        )
    ).first()


def lock(session: Session, review_id: int) -> None:
    """Hold off every other transaction that locks this review until this one ends."""
    session.execute(
        select(CampaignReview.id).where(CampaignReview.id == review_id).with_for_update()
    ).one_or_none()


def newest(session: Session, *, limit: int, offset: int) -> Sequence[CampaignReview]:
    """Return a page of the reviews, newest first."""
    query = select(CampaignReview).options(
        joinedload(CampaignReview.packing).joinedload(Packing.column), joinedload(CampaignReview.made_by)
    )
    return session.scalars(query.order_by(CampaignReview.id.desc()).limit(limit).offset(offset)).all()


def unfinished(session: Session, *, since: date) -> Sequence[CampaignReview]:
    """Return the newest review of each bed in use that is not approved, of campaigns from a day on."""
    newest = select(func.max(CampaignReview.id)).group_by(CampaignReview.packing_id)
    query = (
        select(CampaignReview)
        .join(CampaignReview.packing)
        .where(CampaignReview.id.in_(newest), CampaignReview.state != "approved")
        .where(CampaignReview.starts_on >= since, Packing.unpacked_at.is_(None))
        .options(joinedload(CampaignReview.packing).joinedload(Packing.column))
    )
    return session.scalars(query.order_by(CampaignReview.starts_on, CampaignReview.id)).all()


def of_packing(session: Session, packing_id: int) -> Sequence[CampaignReview]:
    """Return the reviews of a bed with content and signatures, oldest first."""
    query = select(CampaignReview).where(CampaignReview.packing_id == packing_id)
    query = query.options(undefer(CampaignReview.content), selectinload(CampaignReview.signatures))
    return session.scalars(query.order_by(CampaignReview.id)).all()


def choices_of_checks(session: Session, *, limit: int) -> Sequence[ReviewChecks]:
    """Return which checks the site chose, newest first, with who chose."""
    query = select(ReviewChecks).options(joinedload(ReviewChecks.made_by))
    return session.scalars(query.order_by(ReviewChecks.id.desc()).limit(limit)).all()


def planned_by_id(session: Session, campaign_id: int) -> PlannedCampaign | None:
    """Return a planned campaign."""
    return session.get(PlannedCampaign, campaign_id)


def planned_without_review(session: Session, *, since: date) -> Sequence[PlannedCampaign]:
    """Return the planned campaigns from a day on, of beds in use, that no review was begun for.

    A review counts if it was made after the plan, for a campaign that begins no earlier.
    """
    begun = exists().where(
        CampaignReview.packing_id == PlannedCampaign.packing_id,
        CampaignReview.made_at >= PlannedCampaign.made_at,
        CampaignReview.starts_on >= PlannedCampaign.starts_on,
    )
    query = (
        select(PlannedCampaign)
        .join(PlannedCampaign.packing)
        .where(PlannedCampaign.called_off_at.is_(None), PlannedCampaign.starts_on >= since)
        .where(Packing.unpacked_at.is_(None), ~begun)
        .options(joinedload(PlannedCampaign.packing).joinedload(Packing.column))
    )
    return session.scalars(query.order_by(PlannedCampaign.starts_on, PlannedCampaign.id)).all()
