"""The page Columns: a line for each bed, worst first, and the sentence on top."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any

from sqlalchemy.orm import Session

from beadline.features.alerts import queries as alert_queries
from beadline.features.drift import queries as drift_queries
from beadline.features.drift import service as drift
from beadline.features.overview.schemas import Bead, BedLine
from beadline.features.overview.service.outlook import cycles_left
from beadline.features.packings import queries as packing_queries
from beadline.features.pulse_tests import queries as pulse_queries
from beadline.kit.looks import KIND_OF_CONDITION, Kind, Lede
from beadline.store.tables import Alert, BedState, Packing, PulseTest

KINDS: tuple[Kind, ...] = ("ok", "watch", "act", "void", "out")
MOST_NAMED = 6
CALM = ("in control", "learning baseline")  # a sentence there is of a newest cycle that stands alone
WORST_FIRST = (
    "degraded",
    "drifting",
    "not qualified",
    "on hold",
    "learning baseline",
    "in control",
    "retired",
)


def bed_lines(session: Session) -> list[BedLine]:
    """Return one line for each column's newest bed, worst first."""
    packings = packing_queries.newest_of_every_column(session)
    ids = [packing.id for packing in packings]
    standings = drift_queries.standings(session, ids)
    tests = pulse_queries.newest_of_packings(session, ids)
    alerts = alert_queries.open_of_packings(session, ids)
    lines = []
    for packing in packings:
        standing, stored = standings.get(packing.id, (None, "[]"))
        beads = _beads_stored(stored)
        lines.append(bed_line(packing, standing, beads, tests.get(packing.id), alerts.get(packing.id)))
    return sorted(lines, key=_concern)


@lru_cache(maxsize=2048)
def _beads_stored(stored: str) -> tuple[Bead, ...]:
    """Read the beads of a bed once: most beds have no new one since the last look."""
    return beads_of(json.loads(stored))


def beads_of(stored: Sequence[Sequence[Any]]) -> tuple[Bead, ...]:
    """Return the beads of a bed as they are shown."""
    return tuple(Bead(cycle, drift, KINDS[kind]) for cycle, drift, kind in stored)


def _concern(line: BedLine) -> tuple[float, bool, float, str]:
    """Order by condition, beds with an odd newest cycle before calm ones, then open alerts, then drift."""
    odd = line.condition in CALM and line.sentence
    place = WORST_FIRST.index("learning baseline") - 0.5 if odd else WORST_FIRST.index(line.condition)
    return place, line.open_alert_id is None, -_last_drift(line), line.name


def _last_drift(line: BedLine) -> float:
    return next((bead.drift for bead in reversed(line.beads) if bead.drift is not None), 0.0)


def bed_line(
    packing: Packing,
    standing: BedState | None,
    beads: tuple[Bead, ...],
    test: PulseTest | None,
    alert: Alert | None,
) -> BedLine:
    """Return a bed's line."""
    condition = drift.condition_of(packing, standing, test)
    latest = standing.latest if standing else {}
    limits = [n for n in (packing.cycle_limit, packing.lot.resin.cycle_limit) if n]
    said = standing.sentence if standing else ""
    pressure_pa = latest.get("pressure_drop_pa")
    hetp_m = latest.get("hetp_m")
    return BedLine(
        name=packing.column.name,
        asset_tag=packing.column.asset_tag,
        area=packing.column.area,
        href=f"/columns/{packing.column.asset_tag}",
        resin=packing.lot.resin.name,
        packing_number=packing.number,
        cycles_used=standing.last_cycle or 0 if standing else 0,
        cycle_limit=min(limits, default=None),
        beads=beads,
        condition=condition,
        kind="watch" if condition in CALM and said else KIND_OF_CONDITION[condition],
        sentence=said,
        hetp_cm=hetp_m * 100 if hetp_m is not None else None,
        hetp_change=latest.get("hetp_change"),
        asymmetry=latest.get("asymmetry"),
        pressure_bar=pressure_pa * 1e-5 if pressure_pa is not None else None,
        left=cycles_left(latest) if packing.unpacked_at is None else None,
        last_started_at=standing.last_started_at if standing else None,
        open_alert_id=alert.id if alert else None,
    )


def lede(lines: Sequence[BedLine]) -> Lede:
    """Say what is true of all beds, in a sentence or three.

    The lead counts the beds that need somebody; the rest names them with what was seen.
    """
    if not lines:
        return Lede("No bed yet.", "Record a column, a resin lot and a packing in the Library to begin.")
    degraded = [line for line in lines if line.condition == "degraded"]
    drifting = [line for line in lines if line.condition == "drifting"]
    unqualified = [line for line in lines if line.condition == "not qualified"]
    said = [f"{line.name}: {_clause(line.sentence)}" for line in degraded[:2]]
    if drifting:
        said.append(f"{_names(drifting)} {_is(drifting)} drifting.")
    if unqualified:
        said.append(f"{_names(unqualified)} {_is(unqualified)} not qualified.")
    odd = [line for line in lines if line.condition in CALM and line.sentence]
    if odd:
        said.append(
            f"The newest cycle of {_names(odd)} stands alone, far from the baseline: check its trace."
        )
    calm = [line for line in lines if line.condition in CALM and not line.sentence]
    if calm:
        young = sum(line.condition == "learning baseline" for line in calm)
        learning = (
            f", {young} of them still learning {'its' if young == 1 else 'their'} baseline" if young else ""
        )
        said.append(f"{len(calm)} of {len(lines)} {_is(calm)} within limits{learning}.")
    if degraded:
        count = "1 column needs" if len(degraded) == 1 else f"{len(degraded)} columns need"
        return Lede(f"{count} a decision.", " ".join(said), "act")
    if drifting or unqualified or odd:
        return Lede("No bed is past its action limit.", " ".join(said), "watch")
    return Lede("No bed needs you today.", " ".join(said))


def _clause(sentence: str) -> str:
    return sentence if sentence.endswith(".") else sentence + "."


def _names(lines: Sequence[BedLine]) -> str:
    """Name the beds, of many only the first."""
    names = [line.name for line in lines]
    if len(names) > MOST_NAMED:
        names[MOST_NAMED - 1 :] = [f"{len(names) - MOST_NAMED + 1} more"]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _is(lines: Sequence[BedLine]) -> str:
    return "is" if len(lines) == 1 else "are"


def chosen(lines: Sequence[BedLine], filters: Mapping[str, str]) -> list[BedLine]:
    """Return the lines that fit what was chosen for area, resin and condition; an empty choice fits all."""
    return [
        line
        for line in lines
        if all(not wanted or getattr(line, name) == wanted for name, wanted in filters.items())
    ]


def choices(lines: Sequence[BedLine]) -> dict[str, list[str]]:
    """Return what can be chosen."""
    return {
        name: sorted({getattr(line, name) for line in lines} - {""})
        for name in ("area", "resin", "condition")
    }
