"""Decide of each row of a sheet whether it is recorded, and say why not."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo
from itertools import pairwise

from sqlalchemy.orm import Session

from beadline.features.cycles import queries as cycle_queries
from beadline.features.cycles import service as cycles
from beadline.features.cycles.schemas import RunFacts, is_typed
from beadline.features.intake.schemas import TypedValues
from beadline.features.intake.service import typing_in
from beadline.features.intake.service.earlier.report import Entry, Weighed
from beadline.features.intake.service.numbering import numbered
from beadline.features.packings import service as packings
from beadline.features.packings.schemas import Bed
from beadline.features.transitions import queries as transition_queries
from beadline.kit.errors import Refusal
from beadline.reading.earlier import ROLES, EarlierRow, EarlierSheet
from beadline.store.tables import Cycle, Packing

_CELLS = {
    "hetp_cm": ROLES["hetp"],
    "mean_cv": ROLES["mean"],
    "variance_cv2": ROLES["variance"],
    "pressure_drop_bar": ROLES["pressure_drop"],
    "started_at": ROLES["date"],
    "number": ROLES["cycle"],
}
_SAME = 1e-6  # relative; values that differ by less are the same, written with other digits


@dataclass(frozen=True, slots=True)
class Recorded:
    """A cycle of the bed with the values of its official transition and the whole cycle."""

    cycle: Cycle
    values: Mapping[str, float]


def weigh(
    session: Session, packing: Packing, sheet: EarlierSheet, *, zone: tzinfo, at: datetime
) -> tuple[Weighed, ...]:
    """Weigh every row against what is recorded of a bed; nothing is stored."""
    known = _recorded(session, packing)
    bed = packings.bed_of(packing)
    first = [_first_look(row, packing, bed, zone) for row in sheet.rows]
    taken = _against_record(first, known, zone)
    return tuple(_last_look(session, packing, bed, _numbers_given(taken, known), at))


def _recorded(session: Session, packing: Packing) -> dict[int, Recorded]:
    values: dict[int, dict[str, float]] = {}
    for row in transition_queries.of_packing(session, packing.id):
        values.setdefault(row.cycle_id, {name: pair[0] for name, pair in row.estimates.items()})
    found = {}
    for cycle in cycle_queries.of_packing(session, packing.id):
        pressure = cycle.conditions.get("pressure_drop_pa")
        whole = {"pressure_drop_pa": pressure[0]} if pressure else {}
        found[cycle.number] = Recorded(cycle, values.get(cycle.id, {}) | whole)
    return found


def _first_look(row: EarlierRow, packing: Packing, bed: Bed, zone: tzinfo) -> Weighed:
    """Judge a row by itself."""
    column = packing.column
    if row.left_out:
        return Weighed(
            row=row.number, status="left out", said=f"{row.left_out[0].upper()}{row.left_out[1:]}."
        )
    if row.column and row.column.casefold() not in (column.asset_tag.casefold(), column.name.casefold()):
        return Weighed(row=row.number, status="left out", said=f"Of another column, {row.column}.")
    if row.problems:
        one = row.problems[0]
        return _refused(row.number, row.cycle, one.said, where=one.where, mend=one.mend)
    started = row.started.replace(tzinfo=row.started.tzinfo or zone) if row.started else None
    note = "; ".join(filter(None, (f"Product {row.product}" if row.product else "", row.note)))
    facts = RunFacts(batch=row.batch[:60], started_at=started, number=row.cycle, note=note)
    entry = Entry(facts, _typed(row.values, packing, bed))
    return Weighed(row=row.number, status="accepted", cycle=row.cycle, entry=entry)


def _typed(values: Mapping[str, float], packing: Packing, bed: Bed) -> TypedValues:
    """Return what typing takes: the plate height from plates where the sheet has no height."""
    hetp = values.get("hetp")
    if hetp is None and values.get("plates_per_length"):
        hetp = 1 / values["plates_per_length"]
    if hetp is None and values.get("plates"):
        hetp = bed.bed_height_m / values["plates"]
    if hetp is None and values.get("reduced_hetp"):
        hetp = values["reduced_hetp"] * bed.bead_diameter_m
    return TypedValues(
        hetp_m=None if hetp is None else float(f"{hetp:.9g}"),
        asymmetry=values.get("asymmetry"),
        mean_cv=values.get("mean"),
        variance_cv2=values.get("variance"),
        pressure_drop_pa=values.get("pressure_drop"),
    )


def _against_record(rows: Sequence[Weighed], known: Mapping[int, Recorded], zone: tzinfo) -> list[Weighed]:
    """Find rows that are recorded already, and those that another row of the sheet tells too."""
    found: list[Weighed] = []
    seen: dict[int, int] = {}
    for one in rows:
        if one.entry is not None:
            one = _compared(one, one.entry, known, zone)
        if one.entry is not None and one.cycle is not None:
            other = seen.setdefault(one.cycle, one.row)
            if other != one.row:
                said = f"Row {other} is of cycle {one.cycle} too."
                one = _refused(one.row, one.cycle, said, where=_CELLS["number"], mend="Leave one of them.")
        found.append(one)
    return found


def _compared(one: Weighed, entry: Entry, known: Mapping[int, Recorded], zone: tzinfo) -> Weighed:
    same = known.get(one.cycle) if one.cycle is not None else _alike(entry, known)
    if same is None:
        return one
    number, start = same.cycle.number, entry.facts.started_at
    there = replace(one, status="there already", cycle=number, entry=None)
    if start is not None and _day(start, zone) != _day(same.cycle.started_at, zone):
        said = f"Cycle {number} is recorded already, started on {_day(same.cycle.started_at, zone)}."
        return _refused(
            one.row, number, said, where=_CELLS["number"], mend="Check number and date of this row."
        )
    if not is_typed(same.cycle):
        file = same.cycle.trace.filename
        return replace(there, said=f"Recorded as cycle {number} from its trace, {file}.")
    if not _same_values(entry.values, same):
        said = f"Cycle {number} is recorded already, with other values."
        mend = "Correct the row, or have the recorded cycle voided first."
        return _refused(one.row, number, said, where=_CELLS["number"], mend=mend)
    return replace(there, said=f"Recorded as cycle {number}, with the same values.")


def _alike(entry: Entry, known: Mapping[int, Recorded]) -> Recorded | None:
    """Return the cycle that a row without a number tells: same start and values, without a trace."""
    return next(
        (
            one
            for one in known.values()
            if is_typed(one.cycle)
            and one.cycle.started_at == entry.facts.started_at
            and _same_values(entry.values, one)
        ),
        None,
    )


def _same_values(values: TypedValues, recorded: Recorded) -> bool:
    given = typing_in.of_transition(values)
    if values.pressure_drop_pa is not None:
        given["pressure_drop_pa"] = values.pressure_drop_pa
    stored = recorded.values
    return given.keys() == stored.keys() and all(
        math.isclose(value, stored[name], rel_tol=_SAME) for name, value in given.items()
    )


def _day(moment: datetime, zone: tzinfo) -> str:
    return f"{moment.astimezone(zone):%Y-%m-%d}"


def _numbers_given(rows: Sequence[Weighed], known: Mapping[int, Recorded]) -> list[Weighed]:
    """Give a number to each row that has none, by its start."""
    started = {number: one.cycle.started_at for number, one in known.items()}
    asking = []
    for one in rows:
        start = one.entry.facts.started_at if one.entry else None
        if start is not None and one.cycle is None:
            asking.append((one.row, start))
        elif start is not None and one.cycle is not None:
            started[one.cycle] = start
    given = numbered(asking, list(started.items()))
    return [_with_number(one, given) for one in rows]


def _with_number(one: Weighed, given: Mapping[int, int | None]) -> Weighed:
    if one.row not in given or one.entry is None:
        return one
    number = given[one.row]
    if number is None:
        said = "More runs lie between two recorded cycles than numbers are free between them."
        mend = "Give the cycle numbers in a column of their own."
        return _refused(one.row, None, said, where=_CELLS["number"], mend=mend)
    entry = Entry(replace(one.entry.facts, number=number), one.entry.values)
    return replace(one, cycle=number, entry=entry)


def _last_look(
    session: Session, packing: Packing, bed: Bed, rows: Sequence[Weighed], at: datetime
) -> list[Weighed]:
    """Refuse what recording would refuse, and point at starts that do not go with the numbers."""
    found = [_checked(session, packing, bed, one, one.entry, at) if one.entry else one for one in rows]
    starts = sorted(
        (one.cycle, one.entry.facts.started_at)
        for one in found
        if one.entry and one.cycle and one.entry.facts.started_at
    )
    odd = {later for (_, before), (later, after) in pairwise(starts) if after < before}
    return [
        replace(one, said=f"Cycle {one.cycle} started before the one numbered below it: check its date.")
        if one.cycle in odd and one.entry
        else one
        for one in found
    ]


def _checked(
    session: Session, packing: Packing, bed: Bed, one: Weighed, entry: Entry, at: datetime
) -> Weighed:
    start = entry.facts.started_at
    try:
        typing_in.check(entry.values, entry.facts, bed)
        if packing.unpacked_at and start and start > packing.unpacked_at + timedelta(days=1):
            said = f"The bed was unpacked on {packing.unpacked_at:%Y-%m-%d}, before this run."
            return _refused(
                one.row, one.cycle, said, where=_CELLS["started_at"], mend="Choose the bed after it."
            )
        if one.cycle is not None:
            cycles.check(session, packing, one.cycle, start, at)
    except Refusal as refusal:
        where = _CELLS.get(refusal.where, refusal.where)
        mend = refusal.mend
        if start and start < packing.packed_at:
            mend = "Check the date; a run of an earlier packing is imported into that packing."
        return _refused(one.row, one.cycle, refusal.message, where=where, mend=mend)
    return one


def _refused(row: int, cycle: int | None, said: str, *, where: str, mend: str) -> Weighed:
    return Weighed(row=row, status="refused", cycle=cycle, said=said, where=where, mend=mend)
