"""`beadline work` as a process of its own."""

from __future__ import annotations

import os
import sys
from multiprocessing.context import ForkServerProcess

from tests.crash.killable import FORKED


def started(url: str) -> ForkServerProcess:
    """Start a worker on a database."""
    process = FORKED.Process(target=_work, args=(url,), daemon=True)
    process.start()
    return process


def _work(url: str) -> None:
    from beadline.cli import main

    os.environ["BEADLINE_DATABASE_URL"] = url
    sys.exit(main(["work"]))
