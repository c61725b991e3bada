"""A request that names a key is done once, however often it is sent."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import delete
from sqlalchemy.orm import Session

from beadline.features.intake import queries
from beadline.kit.errors import Invalid
from beadline.store.tables import KeptAnswer, User

KEPT_FOR = timedelta(days=30)
LONGEST_KEY = 255


def is_known(session: Session, user: User, key: str) -> bool:
    """Tell whether a request of this person with this key came before."""
    return queries.kept_answer(session, user.id, key) is not None


def begin(
    session: Session, user: User, key: str, *, request_sha256: str, at: datetime
) -> tuple[KeptAnswer, bool]:
    """Return the place for the answer to a request, and whether it was answered before.

    The place is taken before the work begins, so that of two equal requests at once one waits or fails. A
    request that is refused leaves nothing behind, and may be sent again with the same key.

    Raises
    ------
    Invalid
        If the key was used with another request, or is too long.
    """
    if len(key) > LONGEST_KEY:
        said = f"The key has {len(key)} characters; {LONGEST_KEY} are the most."
        raise Invalid(said, where="Idempotency-Key", mend="Send a shorter one, such as a UUID.")
    session.execute(delete(KeptAnswer).where(KeptAnswer.kept_at < at - KEPT_FOR))
    known = queries.kept_answer(session, user.id, key)
    if known is not None and known.request_sha256 != request_sha256:
        raise Invalid(
            "This Idempotency-Key was used with another request.",
            where="Idempotency-Key",
            mend="Send a new key with a new request, or the old request unchanged.",
            code="key-used",
        )
    if known is not None:
        return known, True
    place = KeptAnswer(
        user_id=user.id, key=key, request_sha256=request_sha256, status=0, answer={}, kept_at=at
    )
    session.add(place)
    session.flush()  # from here on nobody else begins with this key
    return place, False
