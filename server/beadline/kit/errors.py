"""What a user did wrong, in words that say what, where and how to mend it."""

from __future__ import annotations


class Refusal(Exception):
    """A request that can't be done as asked; the message is shown to the person who asked.

    Attributes
    ----------
    status : int
        HTTP status that the edge answers with.
    code : str
        Stable name of the reason, for programs.
    where : str
        The field, line or thing that is wrong; empty when the message says it all.
    mend : str
        What to do about it.
    retry_after_s : int
        When to try again [s]; 0 if that would not help.
    """

    status = 400
    code = "refused"
    retry_after_s = 0

    def __init__(self, message: str, *, where: str = "", mend: str = "", code: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.where = where
        self.mend = mend
        if code is not None:
            self.code = code


class Invalid(Refusal):
    """A value that can't be right."""

    status = 422
    code = "invalid"


class NotFound(Refusal):
    """A thing that does not exist."""

    status = 404
    code = "not-found"


class Conflict(Refusal):
    """A request that the present state of things forbids."""

    status = 409
    code = "conflict"


class TooLarge(Refusal):
    """More bytes than this server takes."""

    status = 413
    code = "too-large"


class SignInNeeded(Refusal):
    """Nobody is signed in."""

    status = 401
    code = "sign-in-needed"


class Forbidden(Refusal):
    """Signed in, but not allowed."""

    status = 403
    code = "forbidden"


class TooMany(Refusal):
    """Tried too often; after so many seconds it may be tried again."""

    status = 429
    code = "too-many"

    def __init__(self, message: str, *, mend: str, after_s: int) -> None:
        super().__init__(message, mend=mend)
        self.retry_after_s = after_s
