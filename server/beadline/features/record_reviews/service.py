"""Review the audit trail and sign it: the signature is a record of the trail that it is about.

It names the last record that was read and its hash, which covers every record before it; so whatever is
altered or taken away afterwards breaks the signature, and nobody can alter the signature unseen.
"""

from __future__ import annotations

from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.record_reviews import queries
from beadline.features.record_reviews.schemas import MEANING, RecordReview
from beadline.features.records import queries as record_queries
from beadline.features.records import service as records
from beadline.kit.errors import Conflict, Invalid
from beadline.store.tables import Record, User


def every(session: Session) -> list[RecordReview]:
    """Return all reviews, newest first, each held against the chain as it is now."""
    chain = records.verify(session)
    holds_up_to = chain.record_id - 1 if chain else record_queries.newest_id(session)
    return [_shown(session, record, holds_up_to) for record in queries.reviews(session)]


def waiting(session: Session) -> tuple[int, int]:
    """Return the first and the last record that nobody has reviewed; none waits if the first is above."""
    reviews = queries.reviews(session)
    last = max((record.thing_id or 0 for record in reviews), default=0)
    return last + 1, record_queries.newest_id(session)


def sign(session: Session, *, upto: int, note: str, by: User, at: datetime) -> Record:
    """Sign that the records up to one were reviewed; whoever calls has checked the password again.

    Raises
    ------
    Invalid
        If there is no such record.
    Conflict
        If these records are reviewed already, or the chain does not hold up to there.
    """
    record = queries.numbered(session, upto)
    if record is None:
        mend = "Give the number of the last record that you read."
        raise Invalid(f"There is no record {upto}.", where="upto", mend=mend)
    first, _ = waiting(session)
    if upto < first:
        said = f"The records up to {first - 1} are reviewed already."
        raise Conflict(said, where="upto", mend="Give a later record.")
    broken = records.verify(session)
    if broken is not None and broken.record_id <= upto:
        said = f"The chain breaks at record {broken.record_id}: {broken.reason}"
        mend = "Keep the database as it is and tell whoever answers for it."
        raise Conflict(said, where="upto", mend=mend)
    return records.write(
        session,
        by=by,
        at=at,
        did="review",
        thing="records",
        thing_id=upto,
        said=f"Reviewed and signed records {first} to {upto}",
        why=note.strip(),
        after={
            "first": first,
            "upto_sha256": record.sha256,
            "meaning": MEANING,
            "full_name": by.full_name,
            "role": by.role,
        },
    )


def _shown(session: Session, review: Record, holds_up_to: int) -> RecordReview:
    signed, last = review.after or {}, review.thing_id or 0
    reviewed = queries.numbered(session, last)
    broken = ""
    if reviewed is None or reviewed.sha256 != signed.get("upto_sha256") or last > holds_up_to:
        broken = "What was signed was altered or taken away since."
    elif review.id > holds_up_to:
        broken = "The signature itself can't be trusted: the chain breaks before it."
    return RecordReview(
        number=review.id,
        first=int(signed.get("first", 1)),
        last=last,
        reviewer=str(signed.get("full_name", review.user_name)),
        role=str(signed.get("role", "")),
        at=review.at,
        note=review.why,
        sha256=review.sha256,
        broken=broken,
    )
