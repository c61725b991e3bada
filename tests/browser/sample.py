"""An invented bed that degrades, shown on the real pages; nothing in it is of any plant."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

from fastapi import APIRouter, Request, Response

from beadline.boundary import templates
from beadline.features.bed_events.schemas import CHOICES
from beadline.features.overview.schemas import (
    Bead,
    BedLine,
    BedView,
    CurveView,
    CyclesLeft,
    CycleView,
    Event,
    Kind,
    Lede,
    NumberLine,
    OutlookLine,
    OutlookView,
    Point,
    PoolLine,
    PoolView,
    PressureLine,
    PressureView,
    Ribbon,
    Trend,
)
from beadline.science.drift import Spoke, voices

PACKED = datetime(2031, 3, 12, 9, tzinfo=UTC)
CYCLES = 40
VOID = 17
GRID = tuple(i / 20 for i in range(41))
VERDICTS = {
    "ok": "in limits",
    "watch": "past alert limit",
    "act": "past action limit",
    "void": "not usable",
}

router = APIRouter()


def wear(cycle: int) -> float:
    """How far the bed has gone, from 0 to 1; it begins to go at cycle 25."""
    return max(0.0, (cycle - 25) / (CYCLES - 25))


def kind(cycle: int) -> Kind:
    if cycle == VOID:
        return "void"
    return "act" if wear(cycle) > 0.7 else "watch" if wear(cycle) > 0.4 else "ok"


def trend(key: str, title: str, unit: str, base: float) -> Trend:
    values = {
        cycle: base * (1 + 0.02 * (cycle % 3 - 1) + 0.4 * wear(cycle)) for cycle in range(1, CYCLES + 1)
    }
    points = tuple(
        Point(
            cycle=cycle,
            value=None if cycle == VOID else value,
            u=None if cycle == VOID else 0.01 * base,
            ewma=base * (1 + 0.4 * wear(cycle)),
            kind=kind(cycle),
        )
        for cycle, value in values.items()
    )
    return Trend(
        key=key,
        title=title,
        unit=unit,
        digits=3,
        points=points,
        centre=base,
        band=(0.95 * base, 1.05 * base),
        alert_high=1.15 * base,
        action_high=1.27 * base,
    )


def slope(cycle: int) -> tuple[float, ...]:
    width = 0.1 + 0.1 * wear(cycle)
    return tuple(math.exp(-0.5 * ((v - 1) / width) ** 2) / width / math.sqrt(2 * math.pi) for v in GRID)


def curve(cycle: int, transition: str) -> CurveView:
    width = 0.1 + 0.1 * wear(cycle)
    front = tuple(0.5 * (1 + math.erf((v - 1) / width / math.sqrt(2))) for v in GRID)
    return CurveView(
        transition=transition,
        grid_cv=GRID,
        fraction=front,
        envelope_low=tuple(max(0.0, value - 0.02) for value in front),
        envelope_high=tuple(min(1.0, value + 0.02) for value in front),
        density_per_cv=slope(cycle),
        baseline_density_per_cv=slope(1),
    )


def cycle_view(cycle: int) -> CycleView:
    started = PACKED + timedelta(days=cycle)
    numbers = NumberLine(
        label="HETP", unit="cm", value="0.0345", u="0.0006", limit="at most 0.0408", kind=kind(cycle)
    )
    wide = NumberLine(
        label="Difference-from-reference-curve",
        unit="CV",
        value="0.94943",
        u="< 0.00001",
        limit="0.914925 to 0.976925",
        kind="ok",
        doubt="Godwit80_packing_3_cycle_040_wash_to_strip_as_exported.csv",
    )
    return CycleView(
        cycle_id=cycle,
        number=cycle,
        batch=f"B-{cycle:03d}",
        started_at=started,
        logged_by="Ida Brandt",
        logged_at=started + timedelta(hours=2),
        filename=f"run_{cycle}.csv",
        verdict=VERDICTS[kind(cycle)],
        kind=kind(cycle),
        drift=12 * wear(cycle),
        numbers=(("wash to strip", (numbers, wide)),),
        further=(),
        curves=(curve(cycle, "wash to strip"), curve(cycle, "strip to wash")),
        curves_href="/sample/curves.csv",
        workings=(("wash to strip", "/sample/working"), ("strip to wash", "/sample/working")),
        pool=PoolView(
            sentence="Holding 99 % of the product now takes 1.12 times the baseline's volume.",
            kind="watch",
            lines=(
                PoolLine(0.95, 1.08, 86.0, False, ""),
                PoolLine(0.99, 1.12, 104.0, True, ""),
                PoolLine(0.999, None, None, None, "The curve ends before it holds this share."),
            ),
            normal=(0.98, 1.03),
        ),
        pressure=PressureView(
            sentence="The bed took 1.9 bar as it was run; before the column it was 2.10 bar at its highest.",
            kind="watch",
            lines=(
                PressureLine("packing pressure", 2.0, 0.1, 0.95),
                PressureLine("hardware rating", 3.0, 0.9, 0.7),
            ),
        ),
        doubts=("The plateau drifts by 0.4 % of the step.",),
        not_the_bed=(),
        voices=voices([Spoke("ewma", "wash to strip/hetp_moments", "alert")]),
    )


def line(name: str = "Godwit 80", cycles: int = CYCLES, worn: bool = True) -> BedLine:
    beads = tuple(
        Bead(cycle, None if cycle == VOID else 12 * wear(cycle) * worn, kind(cycle) if worn else "ok")
        for cycle in range(1, cycles + 1)
    )
    return BedLine(
        name=name,
        asset_tag="GW-80",
        area="Hall A",
        href="/sample/columns/GW-80",
        resin="Marsh 90",
        packing_number=3,
        cycles_used=cycles,
        cycle_limit=150,
        beads=beads,
        condition="degraded" if worn else "in control",
        kind="act" if worn else "ok",
        sentence="HETP is up since about cycle 25." if worn else "",
        hetp_cm=0.0476 if worn else None,
        hetp_change=0.4 if worn else None,
        asymmetry=1.9 if worn else 1.2,
        pressure_bar=0.9,
        left=CyclesLeft("25 to 60", "HETP from moments, action", 38.0) if worn else None,
        last_started_at=PACKED,
        open_alert_id=4 if worn else None,
    )


def bed(selected: int) -> BedView:
    return BedView(
        line=line(),
        packing_id=3,
        kind_of_column="self-packing",
        diameter_cm=80.0,
        bed_height_cm=20.4,
        bed_volume_l=102.5,
        bead_diameter_um=90.0,
        lot_number="M90-07",
        packed_at=PACKED,
        unpacked_at=None,
        qualified="qualified 13 Mar 2031",
        notice=Lede("Bed degraded since about cycle 25.", "HETP is up by 40 %.", "act"),
        transitions=("wash to strip", "strip to wash"),
        transition="wash to strip",
        trends=(
            trend("hetp_moments", "HETP from moments", "cm", 0.034),
            trend("asymmetry", "Asymmetry", "1", 1.2),
            trend("mean_cv", "Mean breakthrough", "CV", 0.985),
            trend("early_foot", "Early foot", "1", 0.02),
        ),
        cycles=tuple((n, f"B-{n:03d}", VERDICTS[kind(n)], kind(n)) for n in range(1, CYCLES + 1)),
        selected=cycle_view(selected),
        ribbon=Ribbon(
            transition="wash to strip",
            grid_cv=GRID,
            cycles=tuple(range(1, CYCLES + 1)),
            density_per_cv=tuple(slope(cycle) for cycle in range(1, CYCLES + 1)),
        ),
        timeline=(
            Event(at=PACKED, cycle=0, between=True, mark="□", label="Packed"),
            Event(
                at=PACKED + timedelta(days=15), cycle=15, between=False, mark="▾", label="Baseline complete"
            ),
            Event(at=PACKED + timedelta(days=24), cycle=24, between=True, mark="+", label="Probe calibrated"),
        ),
        events_of_cycles=tuple("" for _ in range(CYCLES)),
        packings=((3, "packing 3"), (2, "packing 2")),
        baseline_note="Baseline: cycles 1 to 15.",
        outlook=OutlookView(
            "At the present trend HETP from moments reaches its action limit in about 25 to 60 cycles.",
            (OutlookLine("HETP from moments", "cm", ("past it now", "25 to 60"), ("0.041", "0.062")),),
            "80 % interval.",
        ),
        open_alert_ids=(4,),
    )


@router.get("/sample/columns")
def columns_page(request: Request) -> Response:
    context = {
        "lede": Lede("1 column needs a decision.", "1 is in control.", "act"),
        "lines": [
            line(),
            line("Dunlin 60", cycles=118, worn=False),
            line("Avocet 100", cycles=9, worn=False),
        ],
        "filters": {"area": "", "resin": "", "condition": ""},
        "choices": {"area": ["Hall A"], "resin": ["Marsh 90"], "condition": ["degraded", "in control"]},
    }
    return templates.render(request, "overview/columns.html", context)


@router.get("/sample/columns/GW-80")
def column_page(request: Request, cycle: int = CYCLES) -> Response:
    return templates.render(request, "overview/column.html", {"bed": bed(cycle), "event_kinds": CHOICES})


@router.get("/sample/columns/GW-80/cycles/{number}")
def cycle_fragment(request: Request, number: int) -> Response:
    return templates.render(request, "overview/cycle.html", {"cycle": cycle_view(number)})
