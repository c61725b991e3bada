"""Gather what the library holds, and read what is added to it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import get_args

from sqlalchemy.orm import Session

from beadline.features.accounts import service as accounts
from beadline.features.accounts.schemas import MAY
from beadline.features.columns import service as columns
from beadline.features.cycles import service as cycles
from beadline.features.library.schemas import Row, Shelf, SlurryPlan
from beadline.features.resins import service as resins
from beadline.features.traces import service as traces
from beadline.features.transitions import service as transitions
from beadline.kit import forms, looks, words
from beadline.kit.errors import Invalid
from beadline.reading import PlannedTransition, Quantity
from beadline.science import metrics, packing, pulse
from beadline.science.estimates import Estimate

SLURRY_SHARE_U = 0.01  # reading a settled slurry to about 1 % of its volume; common practice, no source


def shelves(session: Session) -> tuple[Shelf, ...]:
    """Return every shelf of the library."""
    return (
        _columns(session),
        _resins(session),
        _lots(session),
        _step_plans(session),
        _profiles(session),
        _criteria(),
        _people(session),
    )


def _columns(session: Session) -> Shelf:
    return Shelf(
        id="columns",
        title="Columns",
        headings=(
            ("Name", False),
            ("Asset tag", False),
            ("Area", False),
            ("Kind", False),
            ("Inner diameter, cm", True),
            ("Pressure rating, bar", True),
            ("Hold-up, mL", True),
        ),
        rows=tuple(
            Row(
                (
                    one.name,
                    one.asset_tag,
                    one.area,
                    one.kind,
                    words.number(one.inner_diameter_mm / 10),
                    words.number(one.pressure_rating_kpa / 100, 2),
                    words.number(one.hold_up_ml),
                ),
                f"/columns/{one.asset_tag}",
            )
            for one in columns.every(session)
        ),
        empty="A column is the hardware: tube, adapters and frits.",
        add_href="/library/columns/new",
        add_text="Add a column",
    )


def _resins(session: Session) -> Shelf:
    return Shelf(
        id="resins",
        title="Resins",
        headings=(
            ("Name", False),
            ("Chemistry", False),
            ("Mean bead diameter, µm", True),
            ("Pressure limit, bar", True),
            ("Cycles allowed", True),
        ),
        rows=tuple(
            Row(
                (
                    one.name,
                    one.chemistry,
                    words.number(one.bead_diameter_um),
                    words.number(one.pressure_limit_kpa / 100, 2) if one.pressure_limit_kpa else "",
                    str(one.cycle_limit or ""),
                )
            )
            for one in resins.every(session)
        ),
        empty="A resin is what columns are packed with.",
        add_href="/library/resins/new",
        add_text="Add a resin",
    )


def _lots(session: Session) -> Shelf:
    lots = resins.lots(session)
    used = cycles.used_by_lots(session, [lot.id for lot in lots])
    return Shelf(
        id="lots",
        title="Resin lots",
        headings=(("Lot", False), ("Resin", False), ("Received", False), ("Cycles seen", True)),
        rows=tuple(
            Row(
                (
                    lot.lot_number,
                    lot.resin.name,
                    f"{lot.received_on:%-d %b %Y}" if lot.received_on else "",
                    str(used.get(lot.id, 0)),
                )
            )
            for lot in lots
        ),
        empty="A lot is a delivery of a resin; it can outlive one packing.",
        add_href="/library/lots/new",
        add_text="Add a lot",
    )


def _step_plans(session: Session) -> Shelf:
    return Shelf(
        id="step-plans",
        title="Step plans",
        headings=(("Plan", False), ("Version", True), ("Product", False), ("Transitions", False)),
        rows=tuple(
            Row(
                (
                    plan.name,
                    str(plan.version),
                    plan.product,
                    "; ".join(f"{one.name} on {one.quantity}" for one in transitions.planned(plan)),
                )
            )
            for plan in transitions.plans(session)
        ),
        empty="A step plan says which transitions of a process are analysed, on which signal.",
        add_href="/library/step-plans/new",
        add_text="Add a step plan",
    )


def _profiles(session: Session) -> Shelf:
    return Shelf(
        id="reading-profiles",
        title="Reading profiles",
        headings=(("Name", False), ("Version", True)),
        rows=tuple(Row((one.name, str(one.version))) for one in traces.profiles(session)),
        empty="How a run's file was read is kept with the run and used for the next file of its bed.",
    )


def _criteria() -> Shelf:
    shipped = pulse.DEFAULT_CRITERIA
    known = metrics.by_name(metrics.PULSE)
    names = ("reduced_plate_height", "plates_per_metre", "asymmetry", "tailing_factor", "porosity")
    return Shelf(
        id="criteria",
        title="Criteria of pulse tests",
        headings=(("Number", False), ("Limits", False), ("Source", False)),
        rows=tuple(
            Row((known[name].label, looks.span(low, high, 3) or "none set", shipped.source))
            for name, (low, high) in ((name, getattr(shipped, name)) for name in names)
        ),
        empty="No criteria.",
    )


def _people(session: Session) -> Shelf:
    return Shelf(
        id="people",
        title="People, and who may do what",
        headings=(("Name", False), ("Role", False), ("May", False), ("Signs in as", False)),
        rows=tuple(
            Row(
                (
                    one.full_name,
                    one.role if one.active else f"{one.role}, not active",
                    next((", ".join(sorted(deeds)) for role, deeds in MAY.items() if role == one.role), ""),
                    one.name,
                )
            )
            for one in accounts.everyone(session)
        ),
        empty="Nobody.",
    )


def read_transitions(text: str) -> list[PlannedTransition]:
    """Read a step plan's transitions: one a line, its parts parted by semicolons.

    Raises
    ------
    Invalid
        If a line can't be read; the message says which.

    Examples
    --------
    >>> [one.name for one in read_transitions("wash to strip; conductivity; Strip*; up")]
    ['wash to strip']
    """
    return [
        _transition(number, line) for number, line in enumerate(text.splitlines(), start=1) if line.strip()
    ]


def _transition(number: int, line: str) -> PlannedTransition:
    name, quantity, mark, direction, volume, *rest = [*(part.strip() for part in line.split(";")), *[""] * 4]
    mend = "Write: name; quantity; mark; up, down or either; switch in CV where there is no mark."
    if not name or quantity not in get_args(Quantity) or any(rest):
        raise Invalid(f"Line {number} can't be read: {line.strip()}", where="transitions", mend=mend)
    if direction not in ("", "up", "down", "either"):
        raise Invalid(f"Line {number} has the direction {direction!r}.", where="transitions", mend=mend)
    if not mark and not volume:
        said = f"Line {number} says neither a mark nor a volume, so its switch can't be found."
        raise Invalid(said, where="transitions", mend=mend)
    return PlannedTransition(
        name=name,
        quantity=quantity,  # type: ignore[arg-type]
        mark=mark or None,
        direction=direction or "either",  # type: ignore[arg-type]
        volume_cv=forms.number(volume, where="transitions"),
    )


def plan_slurry(given: Mapping[str, str]) -> SlurryPlan | None:
    """Compute how much slurry a bed needs; None until every value is given.

    Raises
    ------
    Invalid
        If a value can't be right.
    """
    names = ("plan_diameter_cm", "plan_height_cm", "plan_compression", "plan_slurry_percent")
    values = [forms.number(given.get(name, ""), where=name) for name in names]
    if any(value is None for value in values):
        return None
    diameter, height, compression, percent = (value or 0.0 for value in values)
    try:
        plan = packing.plan(
            diameter_m=diameter / 100,
            bed_height_m=height / 100,
            compression_factor=compression,
            slurry_fraction=Estimate(percent / 100, SLURRY_SHARE_U),
        )
    except ValueError as error:
        mend = "Check diameter, height, compression factor and slurry."
        raise Invalid(f"No bed can be planned so: {error}.", where="slurry", mend=mend) from error
    slurry = plan.slurry_volume_m3
    low, high = (100 * bound for bound in packing.SLURRY_RANGE)
    thin = (
        f"A slurry of {percent:g} % is outside the usual {low:g} to {high:g} % (common practice, no source)."
    )
    return SlurryPlan(
        numbers=(
            ("Bed volume", f"{words.number(plan.bed_volume_m3 * 1e3, 4)} L"),
            ("Settled height", f"{words.number(plan.settled_height_m * 100)} cm"),
            ("Slurry needed", f"{words.number(slurry.value * 1e3)} ± {words.number(slurry.u * 1e3, 2)} L"),
            ("So much moves the bed height by", f"{words.number(plan.bed_height_m.u * 1e3, 2)} mm"),
        ),
        doubts=(
            *(doubt.sentence for doubt in plan.doubts),
            *((thin,) if not low <= percent <= high else ()),
        ),
        formula="slurry = area · bed height · compression factor / settled share; "
        f"settled share ± {SLURRY_SHARE_U:.0%} of the slurry",
    )
