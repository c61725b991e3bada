"""`Idempotency-Key`: the header by which a program sends a request again without doing it twice."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from typing import Annotated, Any, TypeVar

from fastapi import Depends, Header, Request, Response
from pydantic import BaseModel
from starlette.datastructures import UploadFile

from beadline.boundary.deps import Now, Person, Session, WriteSession, allowed
from beadline.features.intake.service import once

Reply = TypeVar("Reply", bound=BaseModel)
Key = Annotated[
    str,
    Header(
        alias="Idempotency-Key",
        description="Any text that is new with each request: sent again with the same body, the request has "
        "the same answer and is not done twice; with another it is refused (422, key-used). Kept 30 days.",
    ),
]


async def _request_sha256(request: Request) -> str:
    """Return a hash over address and body; of a form over its fields, since its separator is made anew."""
    found = hashlib.sha256(request.url.path.encode())
    if request.headers.get("content-type", "").startswith("application/json"):
        found.update(await request.body())
        return found.hexdigest()
    for name, value in (await request.form()).multi_items():
        found.update(repr(name).encode())
        if isinstance(value, UploadFile):
            found.update(repr(value.filename).encode() + await value.read())
            await value.seek(0)
        else:
            found.update(repr(value).encode())
    return found.hexdigest()


class Once:
    """Does a request, or gives the answer that it had before."""

    def __init__(
        self,
        response: Response,
        session: WriteSession,
        logger: Annotated[Person, Depends(allowed("log a run"))],
        now: Now,
        request_sha256: Annotated[str, Depends(_request_sha256)],
        key: Key = "",
    ) -> None:
        self.response, self.session, self.person, self.now = response, session, logger, now
        self.request_sha256, self.key = request_sha256, key

    def is_known(self, session: Session) -> bool:
        """Tell whether a request with this key came before, so that there is no work to prepare."""
        return bool(self.key) and once.is_known(session, self.person.user, self.key)

    def answer(self, kind: type[Reply], work: Callable[[], Reply], *, status: int) -> Reply:
        """Return what `work` makes, or what it made when the request came before."""
        if not self.key:
            return work()
        place, answered = once.begin(
            self.session, self.person.user, self.key, request_sha256=self.request_sha256, at=self.now
        )
        if answered:
            self.response.status_code = place.status
            self.response.headers["Idempotency-Replayed"] = "true"
            return kind.model_validate(place.answer)
        made = work()
        told: dict[str, Any] = made.model_dump(mode="json")
        place.status, place.answer = self.response.status_code or status, told
        return made


OnlyOnce = Annotated[Once, Depends()]
