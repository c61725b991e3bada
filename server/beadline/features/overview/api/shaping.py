"""Replies from what is stored."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from beadline.boundary.shapes import DoubtLine, Quantity
from beadline.features.drift import service as drift
from beadline.features.overview import service as overview
from beadline.features.overview.api import models
from beadline.features.overview.service import BedReport, CycleReport
from beadline.features.transitions import service as transitions
from beadline.store.tables import Cycle, Packing, Transition


def bed(report: BedReport) -> models.Bed:
    """Shape a bed."""
    packing, standing, alert = report.packing, report.standing, report.alert
    latest: dict[str, Any] = standing.latest if standing else {}
    quantities = {one.name: one.quantity for one in transitions.planned(packing.step_plan)}
    return models.Bed(
        column=packing.column.asset_tag,
        name=packing.column.name,
        area=packing.column.area,
        resin=packing.lot.resin.name,
        packing=packing.number,
        packing_id=packing.id,
        condition=report.condition,
        sentence=standing.sentence if standing else "",
        drift=standing.drift if standing else None,
        cycles=standing.cycles if standing else 0,
        last_cycle=standing.last_cycle if standing else None,
        last_started_at=standing.last_started_at if standing else None,
        bed_height_m=packing.bed_height_mm / 1000,
        transition=latest.get("transition"),
        hetp_m=latest.get("hetp_m"),
        asymmetry=latest.get("asymmetry"),
        pressure_drop_pa=latest.get("pressure_drop_pa"),
        limits={
            key: models.Limits(
                alert=alert_ends,
                action=action_ends,
                unit=_unit(key, quantities.get(key.rpartition("/")[0], "")),
            )
            for key, (alert_ends, action_ends) in report.limits.items()
        },
        alert=models.StandingAlert(
            id=alert.id,
            level=alert.level,
            status=alert.status,
            headline=alert.headline,
            address=f"/alerts/{alert.id}",
        )
        if alert
        else None,
        address=_page(packing),
    )


def bed_detail(report: BedReport) -> models.BedDetail:
    """Shape a bed with what is foreseen of it."""
    standing = report.standing
    return models.BedDetail(
        **dict(bed(report)),
        baseline_cycles=list(drift.baseline_cycles(standing)),
        outlook=standing.latest.get("outlook", []) if standing else [],
    )


def _page(packing: Packing) -> str:
    return f"/columns/{quote(packing.column.asset_tag, safe='')}?packing={packing.id}"


def _unit(key: str, quantity: str) -> str:
    return overview.stored_unit(key.rpartition("/")[2], quantity)


def line(packing: Packing, report: CycleReport) -> models.CycleLine:
    """Shape a cycle of a list."""
    cycle = report.cycle
    return models.CycleLine(
        id=cycle.id,
        cycle=cycle.number,
        batch=cycle.batch,
        started_at=cycle.started_at,
        whole_cycle=_whole_cycle(cycle),
        transitions=[models.TransitionResults(**_results(row)) for row in report.rows],
        address=_api_address(packing, cycle),
        **_standing(report),
    )


def detail(packing: Packing, report: CycleReport) -> models.CycleDetail:
    """Shape one cycle whole."""
    cycle, judgement = report.cycle, report.judgement
    return models.CycleDetail(
        id=cycle.id,
        column=packing.column.asset_tag,
        packing=packing.number,
        packing_id=packing.id,
        cycle=cycle.number,
        batch=cycle.batch,
        note=cycle.note,
        started_at=cycle.started_at,
        logged_at=cycle.logged_at,
        logged_by=cycle.logged_by.name,
        not_the_bed=[doubt["sentence"] for doubt in judgement.not_the_bed] if judgement else [],
        filename=cycle.trace.filename,
        trace_sha256=cycle.trace.sha256,
        trace=f"/api/v1/traces/{cycle.trace_id}",
        whole_cycle=_whole_cycle(cycle),
        transitions=[_transition(packing, cycle, row) for row in report.rows],
        address=f"{_page(packing)}&cycle={cycle.number}",
        **_standing(report),
    )


def _standing(report: CycleReport) -> dict[str, Any]:
    cycle, voided = report.cycle, report.cycle.voided_at is not None
    return {
        "verdict": report.verdict,
        "drift": report.judgement.drift if report.judgement and not voided else None,
        "voided": voided,
        "void_reason": cycle.void_reason,
        "excluded": cycle.excluded_at is not None,
        "excluded_reason": cycle.excluded_reason,
    }


def _results(row: Transition) -> dict[str, Any]:
    quantity = row.plan["quantity"]
    results = {
        name: Quantity(value=value, u=u or None, unit=overview.stored_unit(name, quantity))
        for name, (value, u) in row.estimates.items()
    }
    return {"name": row.name, "usable": row.usable, "results": results}


def _transition(packing: Packing, cycle: Cycle, row: Transition) -> models.TransitionDetail:
    tag = quote(packing.column.asset_tag, safe="")
    return models.TransitionDetail(
        **_results(row),
        how_found=row.how_found,
        switch_volume_m3=row.switch_volume_m3,
        direction=row.direction,
        method=row.method,
        method_version=row.method_version,
        revision=row.revision,
        analysed_at=row.analysed_at,
        withheld=row.withheld,
        doubts=[DoubtLine(**doubt) for doubt in row.doubts],
        working=f"/columns/{tag}/cycles/{cycle.number}/transitions/{quote(row.name)}?packing={packing.id}",
    )


def working(packing: Packing, cycle: Cycle, row: Transition) -> models.TransitionWorking:
    """Shape one transition with how its numbers came about."""
    curve = row.fraction is not None
    return models.TransitionWorking(
        **dict(_transition(packing, cycle, row)),
        plan=row.plan,
        settings=row.settings,
        intermediate=row.working,
        volume_cv=transitions.grid_of(row).tolist() if curve else [],
        fraction=[] if row.fraction is None else row.fraction.tolist(),
        density_per_cv=[] if row.density_per_cv is None else row.density_per_cv.tolist(),
    )


def _whole_cycle(cycle: Cycle) -> dict[str, Quantity]:
    return {
        name: Quantity(value=pair[0], u=pair[1] or None, unit=overview.stored_unit(name, ""))
        for name, pair in cycle.conditions.items()
        if pair is not None
    }


def _api_address(packing: Packing, cycle: Cycle) -> str:
    tag = quote(packing.column.asset_tag, safe="")
    return f"/api/v1/columns/{tag}/cycles/{cycle.number}?packing={packing.id}"
