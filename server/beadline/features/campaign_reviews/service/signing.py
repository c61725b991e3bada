"""Decide on a review and sign it: a signature covers exactly what was stored when it was given."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime
from typing import Any

from sqlalchemy.orm import Session

from beadline.features.campaign_reviews.schemas import DECISIONS, MEANINGS, Signed
from beadline.features.records import service as records
from beadline.kit.errors import Conflict, Invalid
from beadline.store.tables import CampaignReview, Signature, User


def decide(
    session: Session, review: CampaignReview, *, decision: str, reason: str, by: User, at: datetime
) -> None:
    """Decide as an engineer and sign; whoever calls has checked the password again.

    Raises
    ------
    Invalid
        If there is no such decision, or no reason is given.
    Conflict
        If it is decided already.
    """
    if review.state != "draft":
        raise Conflict("This review is decided already.", mend="Load the page again, or start a new review.")
    if decision not in DECISIONS:
        raise Invalid("No decision was chosen.", where="decision", mend="Choose one of those listed.")
    if not reason.strip():
        raise Invalid("A reason is missing.", where="reason", mend="Say why; it is signed with the decision.")
    review.decision, review.reason, review.state = decision, reason.strip(), "decided"
    said = f"Decided on campaign review {review.id}: {decision} (proposed: {review.proposal})"
    _sign(session, review, "engineer", said=said, did="decide", by=by, at=at)


def approve(session: Session, review: CampaignReview, *, by: User, at: datetime) -> None:
    """Approve as quality and sign; whoever calls has checked the password again.

    Raises
    ------
    Conflict
        If nothing is decided yet, if it is approved already, if the same person decided, or if what was
        decided on has changed since.
    """
    if review.state != "decided":
        said = "Nothing is decided yet." if review.state == "draft" else "This review is approved already."
        raise Conflict(said, mend="Load the page again.")
    if any(signature.user_id == by.id for signature in review.signatures):
        raise Conflict(
            "You signed the decision yourself.", mend="Somebody else of quality has to approve it."
        )
    if any(signed.broken for signed in signatures(review)):
        raise Conflict("The record changed after it was signed.", mend="Start a new review; keep this one.")
    review.state = "approved"
    said = f"Approved campaign review {review.id}: {review.decision}"
    _sign(session, review, "quality", said=said, did="approve", by=by, at=at)


def _sign(
    session: Session, review: CampaignReview, place: str, *, said: str, did: str, by: User, at: datetime
) -> None:
    signature = Signature(
        review_id=review.id,
        user_id=by.id,
        full_name=by.full_name,
        role=by.role,
        meaning=MEANINGS[place],
        signed_at=at,
        content_sha256=content_sha256(review),
    )
    signature.sha256 = seal(signature)
    review.signatures.append(signature)
    session.flush()  # the record follows a signature that is in the database
    records.write(
        session,
        by=by,
        at=at,
        did=did,
        thing="campaign review",
        thing_id=review.id,
        said=said,
        why=review.reason,
        after={"content_sha256": signature.content_sha256, "signature_sha256": signature.sha256},
    )


def content_sha256(review: CampaignReview) -> str:
    """Return the SHA-256 over all that is stored of a review, its decision included."""
    return _digest(
        [
            review.id,
            review.packing_id,
            review.product,
            review.cycles_planned,
            review.starts_on.isoformat(),
            review.content,
            review.sentence,
            review.proposal,
            review.decision,
            review.reason,
            _moment(review.made_at),
            review.made_by_id,
        ]
    )


def seal(signature: Signature) -> str:
    """Return the SHA-256 over a signature: what was signed, by whom, when and what it means."""
    return _digest(
        [
            signature.review_id,
            signature.user_id,
            signature.full_name,
            signature.role,
            signature.meaning,
            _moment(signature.signed_at),
            signature.content_sha256,
        ]
    )


def _moment(value: datetime) -> str:
    return value.astimezone(UTC).isoformat(timespec="microseconds")


def _digest(content: list[Any]) -> str:
    written = json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(written.encode()).hexdigest()


def signatures(review: CampaignReview) -> tuple[Signed, ...]:
    """Return the signatures under a review, each with what no longer fits."""
    present = content_sha256(review)
    return tuple(
        Signed(
            who=one.full_name,
            role=one.role,
            meaning=one.meaning,
            at=one.signed_at,
            content_sha256=one.content_sha256,
            broken=_broken(one, present),
        )
        for one in review.signatures
    )


def _broken(signature: Signature, present: str) -> str:
    if signature.sha256 != seal(signature):
        return "The signature itself was altered."
    if signature.content_sha256 != present:
        return "The review was altered after it was signed."
    return ""
