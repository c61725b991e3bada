"""A folder into which finished trace files are dropped, on a disk or share that may vanish."""

from __future__ import annotations

import os
import re
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from beadline.kit.errors import Refusal

DONE, REFUSED = "done", "refused"
_UNFINISHED = re.compile(
    r"\..*|~.*|.*(?:\.(?:tmp|temp|part|partial|crdownload|filepart|lock|swp)|~)", re.IGNORECASE
)
_FIELD = re.compile(r"\\\{(\w+)\\\}|\\\*|\\\?")
_FIELDS = {"column": ".+?", "batch": ".+?", "number": r"\d+", "date": r"\d{4}-?\d\d-?\d\d"}


@dataclass
class Folder:
    """A folder and how long each of its files has stood still.

    Attributes
    ----------
    path : Path
    settle_s : float
        How long size and time of change must stand still before a file counts as finished [s].
    """

    path: Path
    settle_s: float
    _seen: dict[str, tuple[tuple[int, int], float]] = field(default_factory=dict)

    def finished(self) -> list[Path]:
        """Return the files that have stood still, the one that was written first before the others.

        Raises
        ------
        OSError
            If the folder is not there.
        """
        now, found, seen = time.monotonic(), [], {}
        for path, state in self._files():
            known = self._seen.get(path.name)
            since = known[1] if known is not None and known[0] == state else now
            seen[path.name] = state, since
            if now - since >= self.settle_s:
                found.append((state[1], path.name, path))
        self._seen = seen
        return [path for *_, path in sorted(found)]

    @property
    def waiting(self) -> int:
        """How many files were there when the folder was last looked at."""
        return len(self._seen)

    def read(self, path: Path) -> bytes | None:
        """Return a file's bytes; None if it changed after all while it was read."""
        before = _state(path.stat())
        content = path.read_bytes()
        if _state(path.stat()) == before and len(content) == before[0]:
            return content
        self._seen.pop(path.name, None)
        return None

    def put_away(self, path: Path, place: str, note: str) -> Path:
        """Move a file to `done` or `refused`, with a note beside it; nothing there is written over."""
        below = self.path / place
        below.mkdir(exist_ok=True)  # not its parents: a share that is away must not be made anew
        target, count = below / path.name, 1
        while target.exists():
            count += 1
            target = below / f"{path.stem}-{count}{path.suffix}"
        target.with_name(f"{target.name}.note.txt").write_text(note + "\n", encoding="utf-8")
        path.rename(target)
        self._seen.pop(path.name, None)
        return target

    def _files(self) -> list[tuple[Path, tuple[int, int]]]:
        """Return files that may be traces; empty ones are not written yet."""
        found = []
        with os.scandir(self.path) as entries:
            for entry in entries:
                if unfinished(entry.name) or not entry.is_file():
                    continue
                try:
                    state = _state(entry.stat())
                except FileNotFoundError:  # somebody took it away
                    continue
                if state[0] > 0:
                    found.append((Path(entry.path), state))
        return found


def _state(stat: os.stat_result) -> tuple[int, int]:
    return stat.st_size, stat.st_mtime_ns


def unfinished(name: str) -> bool:
    """Tell whether a name is one that programs give to files that they are still writing, or hide."""
    return _UNFINISHED.fullmatch(name) is not None


def pattern(
    text: str, *, needed: str = "column", others: Sequence[str] = ("batch", "number")
) -> re.Pattern[str]:
    """Return the pattern of names of files: fields in braces, `*` for anything, `?` for one letter.

    Parameters
    ----------
    needed : str
        The field that it must name; any if empty.
    others : sequence of str
        Further fields that it may name.

    Raises
    ------
    Refusal
        If it does not name the needed field, or one that is not known.

    Examples
    --------
    >>> pattern("{column}_{batch}_*.csv").fullmatch("knot_B7_cycle.csv").groupdict()
    {'column': 'knot', 'batch': 'B7'}
    """
    fields = re.findall(r"\{(\w*)\}", text)
    known = {needed, *others} - {""}
    if len(set(fields)) < len(fields) or not set(fields) <= known or not {needed} - {""} <= set(fields):
        example = f"{{{needed or others[0]}}}_*"
        more = ", ".join(f"{{{one}}}" for one in others)
        raise Refusal(
            f"The pattern {text!r} can't be used.",
            where="--pattern",
            mend=f"Write it like '{example}'; it may name {more}, each once.",
        )

    def part(found: re.Match[str]) -> str:
        if found[1]:
            return rf"(?P<{found[1]}>{_FIELDS[found[1]]})"
        return ".*" if found[0] == r"\*" else "."

    return re.compile(_FIELD.sub(part, re.escape(text)), re.IGNORECASE)
