"""A database of the size of a network of plants: a few true lives, and many beds copied from them.

True: each life of `lives` was posted run by run through the real intake, with traces from the bed model.
Copied: every other bed. It has the rows of a true life under identities of its own; its numbers are moved
within their own uncertainty, its curves by a thousandth of a step, and the last digit of every number in its
traces is drawn anew, so that no two compress better together than those of two runs would.
"""

from __future__ import annotations

from tests.fleet.copying import Copier
from tests.fleet.lives import Size, post_lives

from beadline.store.engine import make_engine

__all__ = ["Size", "fill"]

IN_ONE_TRANSACTION = 5  # beds


def fill(url: str, size: Size, *, progress: bool = False) -> None:
    """Fill an empty database."""
    post_lives(url, size)
    engine = make_engine(url)
    with engine.begin() as connection:
        copier = Copier(connection, columns=size.columns)
    for made in range(copier.beds, size.packings, IN_ONE_TRANSACTION):
        with engine.begin() as connection:
            for _ in range(min(IN_ONE_TRANSACTION, size.packings - made)):
                copier.add_bed(connection)
        if progress and made % 50 < IN_ONE_TRANSACTION:
            print(f"{made} packings", flush=True)
    with engine.begin() as connection:
        copier.finish(connection)
    if engine.dialect.name == "postgresql":  # as its own housekeeping would in the background
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.exec_driver_sql("vacuum analyze")
    engine.dispose()
