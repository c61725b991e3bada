"""Record resins and lots."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from sqlalchemy.orm import Session

from beadline.features.records import service as records
from beadline.features.resins import queries
from beadline.kit.errors import Conflict, Invalid, NotFound
from beadline.store.tables import Resin, ResinLot, User

CHEMISTRIES = ("IEX", "affinity", "HIC", "SEC", "RP", "mixed mode")


def make_resin(
    session: Session,
    *,
    name: str,
    chemistry: str,
    bead_diameter_um: float,
    by: User,
    at: datetime,
    pressure_limit_kpa: float | None = None,
    cycle_limit: int | None = None,
    swells: bool = False,
) -> Resin:
    """Record a resin.

    Raises
    ------
    Invalid
        If the chemistry is unknown or the bead diameter can't be right.
    Conflict
        If its name is taken.
    """
    if chemistry not in CHEMISTRIES:
        mend = f"Choose one of {', '.join(CHEMISTRIES)}."
        raise Invalid(f"There is no chemistry {chemistry!r}.", where="chemistry", mend=mend)
    if not 1 <= bead_diameter_um <= 1000:
        said = f"A mean bead diameter of {bead_diameter_um} µm can't be right."
        raise Invalid(said, where="bead_diameter_um", mend="Give the mean diameter in µm.")
    if queries.resin_named(session, name):
        raise Conflict(f"There is already a resin {name}.", where="name", mend="Choose another name.")
    resin = Resin(
        name=name.strip(),
        chemistry=chemistry,
        bead_diameter_um=bead_diameter_um,
        pressure_limit_kpa=pressure_limit_kpa,
        cycle_limit=cycle_limit,
        swells=swells,
    )
    session.add(resin)
    session.flush()  # the record needs its id
    said = f"Recorded resin {resin.name}, {chemistry}, {bead_diameter_um:g} µm"
    records.write(session, by=by, at=at, did="make", thing="resin", thing_id=resin.id, said=said)
    return resin


def make_lot(
    session: Session,
    *,
    resin: Resin,
    lot_number: str,
    by: User,
    at: datetime,
    received_on: date | None = None,
) -> ResinLot:
    """Record a lot of a resin.

    Raises
    ------
    Conflict
        If the lot number is taken.
    """
    if queries.lot_numbered(session, lot_number):
        raise Conflict(f"There is already a lot {lot_number}.", where="lot_number", mend="Check the number.")
    lot = ResinLot(resin_id=resin.id, lot_number=lot_number.strip(), received_on=received_on)
    session.add(lot)
    session.flush()  # the record needs its id
    said = f"Recorded lot {lot.lot_number} of resin {resin.name}"
    records.write(session, by=by, at=at, did="make", thing="resin lot", thing_id=lot.id, said=said)
    return lot


def every(session: Session) -> Sequence[Resin]:
    """Return all resins by name."""
    return queries.resins(session)


def named(session: Session, name: str) -> Resin:
    """Return the resin with this name.

    Raises
    ------
    NotFound
        If there is none.
    """
    resin = queries.resin_named(session, name)
    if resin is None:
        raise NotFound("No resin was chosen.", where="resin", mend="Choose one of the resins listed.")
    return resin


def lots(session: Session) -> Sequence[ResinLot]:
    """Return all lots with their resins, by number."""
    return queries.lots(session)


def lot(session: Session, lot_id: int) -> ResinLot:
    """Return a lot with its resin.

    Raises
    ------
    NotFound
        If there is none.
    """
    found = next((one for one in queries.lots(session) if one.id == lot_id), None)
    if found is None:
        raise NotFound("No resin lot was chosen.", where="lot", mend="Choose one of the lots listed.")
    return found
