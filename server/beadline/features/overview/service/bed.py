"""The page Column: how a bed is, since when, and what each cycle looked like."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from sqlalchemy.orm import Session

from beadline.features.bed_events import service as bed_events
from beadline.features.cycles.schemas import is_typed, values_from
from beadline.features.drift import service as drift
from beadline.features.intake import service as intake
from beadline.features.overview.schemas import BedView, Ribbon
from beadline.features.overview.service import beside
from beadline.features.overview.service.cycle import cycle_view
from beadline.features.overview.service.lines import beads_of, bed_line
from beadline.features.overview.service.outlook import outlook_view
from beadline.features.overview.service.story import Story
from beadline.features.overview.service.timeline import events_of_cycles, timeline
from beadline.features.overview.service.trends import trends
from beadline.features.packings import service as packings
from beadline.features.transitions import queries as transition_queries
from beadline.features.transitions import service as transitions
from beadline.kit import words
from beadline.kit.looks import KIND_OF_VERDICT, Kind, Lede
from beadline.store.tables import Alert

EVERY_OTHER = 2  # the ribbon needs half the points of the stored curve


def bed_view(
    session: Session,
    story: Story,
    *,
    transition: str | None,
    cycle: int | None,
    others: Sequence[int] = (),
    compared: Story | None = None,
) -> BedView:
    """Return all of the page; without a choice it shows the official transition and the newest cycle."""
    packing, resin = story.packing, story.packing.lot.resin
    names = story.transitions
    shown = transition if transition in names else names[0]
    selected = cycle if cycle is not None else story.cycles[-1].number if story.cycles else None
    open_alerts = [alert for alert in story.alerts if alert.status != "closed"]
    line = bed_line(
        packing,
        story.standing,
        beads_of(story.standing.beads) if story.standing else (),
        story.tests[0] if story.tests else None,
        next(iter(open_alerts), None),
    )
    bed = packings.bed_of(packing)
    return BedView(
        line=line,
        packing_id=packing.id,
        kind_of_column=packing.column.kind,
        diameter_cm=packing.column.inner_diameter_mm / 10,
        bed_height_cm=packing.bed_height_mm / 10,
        bed_volume_l=bed.bed_volume_m3 * 1e3,
        bead_diameter_um=resin.bead_diameter_um,
        lot_number=packing.lot.lot_number,
        packed_at=packing.packed_at,
        unpacked_at=packing.unpacked_at,
        qualified=_qualified(story),
        notice=_notice(story, line.condition, line.kind),
        transitions=names,
        transition=shown,
        trends=trends(story, shown),
        cycles=_cycles(story),
        selected=cycle_view(session, story, selected, transition=shown, others=others, compared=compared)
        if selected is not None
        else None,
        comparable=beside.comparable(session, story),
        compared=beside.compared_bed(compared, shown),
        ribbon=_ribbon(session, story, shown),
        timeline=timeline(story),
        events_of_cycles=events_of_cycles(story),
        packings=tuple((p.id, f"Packing {p.number}") for p in story.packings),
        baseline_note=intake.baseline_note(story.version, story.standing),
        outlook=outlook_view(story),
        experience_note=_experience_note(story),
        open_alert_ids=tuple(alert.id for alert in open_alerts),
    )


def _qualified(story: Story) -> str:
    if not story.tests:
        return "no pulse test yet"
    test = story.tests[0]
    h, asymmetry = (test.estimates.get(name) for name in ("reduced_plate_height", "asymmetry"))
    numbers = ", ".join(
        f"{label} {words.number(pair[0], 3)}" for label, pair in (("h", h), ("As", asymmetry)) if pair
    )
    said = {"pass": "qualified", "fail": "pulse test failed", "not valid": "pulse test not valid"}[
        test.verdict
    ]
    return f"{said} {test.performed_at:%-d %b %Y}" + (f" ({numbers})" if numbers else "")


def _notice(story: Story, condition: str, kind: Kind) -> Lede | None:
    alert = next((a for a in story.alerts if not a.returned), None)
    if alert is not None and condition in ("degraded", "drifting"):
        return Lede(
            f"Bed {condition} since about cycle {alert.since_cycle}.",
            _what_and_why(alert.headline, alert.causes, _noted_near(story, alert)),
            kind,
        )
    test = story.tests[0] if story.tests else None
    if condition == "not qualified":
        said = "No pulse test has been logged for this packing."
        if test is not None:
            failed = [check["sentence"] for check in test.checks if not check["ok"]]
            said = " ".join(failed) or "The newest pulse test is not valid."
        return Lede("Bed not qualified.", f"{said} Production use is decided by site procedure.", kind)
    newest = story.cycles[-1] if story.cycles else None
    judgement = story.judgements.get(newest.id) if newest else None
    if judgement and judgement.not_the_bed:
        return Lede(
            _lead([doubt["code"] for doubt in judgement.not_the_bed]),
            " ".join(doubt["sentence"] for doubt in judgement.not_the_bed),
            "watch",
        )
    return None


def _lead(codes: list[str]) -> str:
    """Name what was found; of a lone odd cycle nobody knows yet whether it is the bed."""
    return "Check the newest cycle: it may be the bed." if "odd_cycle" in codes else "Not the bed."


def _noted_near(story: Story, alert: Alert) -> str:
    return bed_events.noted_near(
        story.events, since=alert.since_cycle, low=alert.since_low, high=alert.since_high
    )


def _what_and_why(sentence: str, causes: list[dict[str, str]], noted: str) -> str:
    said = [sentence, noted]
    if causes:
        said.append(f"The pattern fits {causes[0]['name']} best. {causes[0]['check']}")
    return " ".join(filter(None, said))


def _cycles(story: Story) -> tuple[tuple[int, str, str, Kind], ...]:
    found = []
    for cycle in story.cycles:
        judgement = story.judgements.get(cycle.id)
        verdict = drift.verdict_of(cycle, judgement)
        said = f"{verdict}, {values_from(cycle)}" if is_typed(cycle) else verdict
        found.append((cycle.number, cycle.batch, said, KIND_OF_VERDICT[verdict]))
    return tuple(found)


def _ribbon(session: Session, story: Story, transition: str) -> Ribbon | None:
    rows = transition_queries.densities(session, story.packing.id, transition)
    if not rows:
        return None
    grid = transitions.grid_of(rows[0][1])
    few = slice(None, None, EVERY_OTHER)
    return Ribbon(
        transition=transition,
        grid_cv=tuple(np.round(grid[few], 4).tolist()),
        cycles=tuple(number for number, _ in rows),
        density_per_cv=tuple(
            tuple(np.round(row.density_per_cv[few], 3).tolist())
            for _, row in rows
            if row.density_per_cv is not None
        ),
    )


def _experience_note(story: Story) -> str:
    """Say whose experience the bed is judged with."""
    if story.standing is None or not story.standing.state:
        return ""
    if not story.standing.state["settings"].get("use_fleet", True):
        return "The experience of sister beds is switched off for this bed."
    prior = story.standing.state.get("prior")
    if not prior:
        return (
            "No sister beds yet: fewer than three other beds of this resin and step plan had a complete "
            "baseline when this one began, so it is judged by its own cycles alone."
        )
    many, names = len(prior["sisters"]), "; ".join(prior["sisters"])
    return f"Judged with the experience of {many} sister beds of this resin and step plan: {names}."
