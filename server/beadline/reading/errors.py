"""What is wrong with a file, where, and how to mend it."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from beadline.reading.profile import Profile


class UnreadableFile(ValueError):
    """A file that can't become a trace.

    Attributes
    ----------
    code : str
        Stored name of the reason, for programs; never renamed.
    what : str
        What is wrong, a whole sentence.
    where : str
        The line, column or cell; the whole file where nothing smaller is to blame.
    mend : str
        What to do about it, a whole sentence.
    draft : Profile or None
        What had been recognised by then; mended, it reads the file as a reading profile.
    """

    draft: Profile | None = None

    def __init__(self, what: str, *, where: str, mend: str, code: str) -> None:
        super().__init__(f"{what} ({where}) {mend}")
        self.what = what
        self.where = where
        self.mend = mend
        self.code = code
