"""What the library holds, shelf by shelf."""

from __future__ import annotations

from sqlalchemy.orm import Session

from beadline.features.accounts import service as accounts
from beadline.features.accounts.schemas import MAY
from beadline.features.columns import service as columns
from beadline.features.cycles import service as cycles
from beadline.features.library.schemas import Row, Shelf
from beadline.features.pulse_tests import service as pulse_tests
from beadline.features.pulse_tests.schemas import numbers
from beadline.features.reading_profiles import service as reading_profiles
from beadline.features.resins import service as resins
from beadline.features.transitions import service as transitions
from beadline.kit import looks, words
from beadline.science import metrics


def shelves(session: Session) -> tuple[Shelf, ...]:
    """Return every shelf of the library."""
    return (
        _columns(session),
        _resins(session),
        _lots(session),
        _step_plans(session),
        _profiles(session),
        _criteria(session),
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
                ),
                f"/library/step-plans/new?plan={plan.id}",
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
        headings=(
            ("Profile", False),
            ("Version", True),
            ("File", False),
            ("Axis", False),
            ("Taken from it", False),
            ("Runs read", True),
        ),
        rows=tuple(
            Row(
                (
                    one.name,
                    str(one.version),
                    reading_profiles.in_short(one.profile),
                    one.profile.axis,
                    reading_profiles.taken(one.profile),
                    str(one.runs),
                ),
                f"/library/reading-profiles/{one.id}",
            )
            for one in reading_profiles.every(session)
        ),
        empty="How a run's file was read is kept when the run is recorded, and used for files like it.",
    )


def _criteria(session: Session) -> Shelf:
    now = pulse_tests.standard.present(session)
    known = metrics.by_name(metrics.PULSE)
    names = ("reduced_plate_height", "plates_per_metre", "asymmetry", "tailing_factor", "porosity")
    spans = {name: looks.span(low, high, 3) for name in names for low, high in (getattr(now.criteria, name),)}
    return Shelf(
        id="criteria",
        title=f"Criteria of pulse tests, version {now.version}" if now.version else "Criteria of pulse tests",
        headings=(("Number", False), ("Limits", False), ("Source", False)),
        rows=tuple(
            Row(
                (
                    numbers.label_of(known[name], now.settings.to_dict()),
                    limits or "none set",
                    now.criteria.source if limits else "",
                )
            )
            for name, limits in spans.items()
        ),
        empty="No criteria.",
        add_href="/library/criteria/new",
        add_text="Set the criteria",
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
                ),
                href="/people",
            )
            for one in accounts.everyone(session)
        ),
        empty="Nobody.",
    )
