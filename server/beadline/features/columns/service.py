"""Record columns."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.columns import queries
from beadline.features.records import service as records
from beadline.kit.errors import Conflict, Invalid, NotFound
from beadline.store.tables import Column, User

KINDS = ("fixed axial compression", "dynamic axial compression", "self-packing")


def make_column(
    session: Session,
    *,
    asset_tag: str,
    name: str,
    kind: str,
    inner_diameter_mm: float,
    pressure_rating_kpa: float,
    by: User,
    at: datetime,
    area: str = "",
    hold_up_ml: float = 0.0,
) -> Column:
    """Record a column.

    Raises
    ------
    Invalid
        If its kind is unknown or a size can't be right.
    Conflict
        If its tag or name is taken.
    """
    if kind not in KINDS:
        raise Invalid(
            f"There is no kind of column {kind!r}.", where="kind", mend=f"Choose one of {', '.join(KINDS)}."
        )
    if not 1 <= inner_diameter_mm <= 3000:
        raise Invalid(
            f"An inner diameter of {inner_diameter_mm / 10:g} cm can't be right.",
            where="inner_diameter_cm",
            mend="Give 0.1 to 300 cm.",
        )
    for where, key in (("asset_tag", asset_tag), ("name", name)):
        if queries.known_as(session, key):
            said = f"There is already a column {key}."
            raise Conflict(said, where=where, mend="Choose another tag and name.")
    column = Column(
        asset_tag=asset_tag.strip(),
        name=name.strip(),
        kind=kind,
        area=area.strip(),
        inner_diameter_mm=inner_diameter_mm,
        pressure_rating_kpa=pressure_rating_kpa,
        hold_up_ml=hold_up_ml,
    )
    session.add(column)
    session.flush()  # the record needs its id
    said = f"Recorded column {column.name} ({column.asset_tag}), {inner_diameter_mm:g} mm, {kind}"
    records.write(session, by=by, at=at, did="make", thing="column", thing_id=column.id, said=said)
    return column


def find(session: Session, tag_or_name: str) -> Column:
    """Return a column by asset tag or name.

    Raises
    ------
    NotFound
        If there is none; the message names the nearest.
    """
    column = queries.known_as(session, tag_or_name)
    if column is not None:
        return column
    names = [n for c in queries.every(session) for n in (c.name, c.asset_tag)]
    near = difflib.get_close_matches(tag_or_name, names, n=3, cutoff=0.5)
    hint = (
        f"Did you mean {' or '.join(near)}?"
        if near
        else "Columns are listed under Columns and in the Library."
    )
    raise NotFound(f"There is no column {tag_or_name!r}.", where="column", mend=hint, code="no-such-column")


def every(session: Session) -> Sequence[Column]:
    """Return all columns by name."""
    return queries.every(session)


def get(session: Session, column_id: int) -> Column:
    """Return a column.

    Raises
    ------
    NotFound
        If there is none.
    """
    found = next((column for column in queries.every(session) if column.id == column_id), None)
    if found is None:
        raise NotFound("No column was chosen.", where="column", mend="Choose one of the columns listed.")
    return found
