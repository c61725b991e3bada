"""What is wrong with a file, where, and how to mend it."""

from __future__ import annotations


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
    """

    def __init__(self, what: str, *, where: str, mend: str, code: str) -> None:
        super().__init__(f"{what} ({where}) {mend}")
        self.what = what
        self.where = where
        self.mend = mend
        self.code = code
