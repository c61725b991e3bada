"""A bar that tells how far a command is, on the terminal; a line now and then where there is none."""

from __future__ import annotations

import sys
from typing import TextIO

WIDTH = 40
EVERY = 100


def show(done: int, total: int, noun: str = "runs", *, stream: TextIO | None = None) -> None:
    """Show that so many of a total are done."""
    out = stream or sys.stdout
    if not out.isatty():
        if done % EVERY == 0 or done == total:
            print(f"{done} of {total} {noun}", file=out, flush=True)
        return
    filled = WIDTH * done // max(total, 1)
    end = "\n" if done == total else ""
    print(
        f"\r[{'o' * filled}{'-' * (WIDTH - filled)}] {done} of {total} {noun}", end=end, file=out, flush=True
    )
