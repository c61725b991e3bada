"""What the pages Columns and Column show, in the units of the screen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, NamedTuple

from beadline.features.transitions.schemas import CurveView
from beadline.kit import words
from beadline.kit.looks import Kind, Lede, NumberLine
from beadline.science.drift import Voice


class Bead(NamedTuple):
    """One cycle on the string: drift in baseline standard deviations, None where not usable or excluded."""

    cycle: int
    drift: float | None
    kind: Kind


@dataclass(frozen=True, slots=True)
class CyclesLeft:
    """Cycles left until the limit that is reached soonest: in words, of which metric, and for sorting."""

    text: str
    of: str
    order: float


@dataclass(frozen=True, slots=True)
class OutlookLine:
    """One metric's way to its alert and its action limit: words, and the limits themselves."""

    title: str
    unit: str
    left: tuple[str, ...]
    limits: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OutlookView:
    """Cycles left until each limit, with a sentence on top."""

    sentence: str
    lines: tuple[OutlookLine, ...]
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BedLine:
    """One line of Columns."""

    name: str
    asset_tag: str
    area: str
    href: str
    resin: str
    packing_number: int
    cycles_used: int
    cycle_limit: int | None
    beads: tuple[Bead, ...]
    condition: str
    kind: Kind
    sentence: str
    hetp_cm: float | None
    hetp_change: float | None
    asymmetry: float | None
    pressure_bar: float | None
    left: CyclesLeft | None
    last_started_at: datetime | None
    open_alert_id: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One cycle on a trend; value and u are None where there is nothing to show."""

    cycle: int
    value: float | None
    u: float | None
    ewma: float | None
    kind: Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """One metric over the cycles, in screen units, with its baseline band and limits."""

    key: str
    title: str
    unit: str
    digits: int
    points: tuple[Point, ...]
    centre: float | None = None
    band: tuple[float, float] | None = None
    alert_low: float | None = None
    alert_high: float | None = None
    action_low: float | None = None
    action_high: float | None = None
    alert_by_procedure: tuple[float | None, float | None] = (None, None)
    action_by_procedure: tuple[float | None, float | None] = (None, None)

    @property
    def cells(self) -> list[str]:
        """The value of each cycle with its standard uncertainty, as the table says it."""
        return [
            ""
            if point.value is None
            else words.number(point.value, self.digits)
            + (f" ± {words.number(point.u, 2)}" if point.u is not None else "")
            for point in self.points
        ]

    def chart_data(self) -> dict[str, Any]:
        """Return what the chart needs, one list a quantity."""
        return {
            "key": self.key,
            "title": self.title,
            "unit": self.unit,
            "digits": self.digits,
            "cycle": [point.cycle for point in self.points],
            "value": words.short(point.value for point in self.points),
            "u": words.short(point.u for point in self.points),
            "ewma": words.short(point.ewma for point in self.points),
            "kind": [point.kind for point in self.points],
            "centre": self.centre,
            "band": list(self.band) if self.band else None,
            "alert": [self.alert_low, self.alert_high],
            "action": [self.action_low, self.action_high],
            "by_procedure": {
                "alert": list(self.alert_by_procedure),
                "action": list(self.action_by_procedure),
            },
        }


@dataclass(frozen=True, slots=True)
class PoolLine:
    """The volume that holds a share of the product: its growth against the baseline, and in litres."""

    share: float
    growth: float | None
    litres: float | None
    overflows: bool | None
    why_not: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PoolView:
    """What a cycle's spread does to the pool; `normal` is the range of the baseline's own cycles."""

    sentence: str
    kind: Kind
    lines: tuple[PoolLine, ...]
    normal: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class PressureLine:
    """What is left up to one limit; negative when it is passed."""

    name: str
    limit_bar: float
    left_bar: float
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PressureView:
    """How close a cycle's pressure comes to its limits."""

    sentence: str
    kind: Kind
    lines: tuple[PressureLine, ...]


@dataclass(frozen=True, slots=True)
class Excluded:
    """That a cycle was left out of the statistics."""

    reason: str
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class SheetSource:
    """The sheet of earlier results and its row from which a cycle's values are."""

    file: str
    row: int
    href: str


@dataclass(frozen=True, slots=True)
class SideBySide:
    """The numbers of several cycles in one table: a head a cycle, a line a metric."""

    heads: tuple[str, ...]
    lines: tuple[tuple[str, str, tuple[str, ...]], ...]


@dataclass(frozen=True, slots=True)
class Compared:
    """Another bed beside this one: by key, its cycles and values in the units of the screen."""

    packing_id: int
    label: str
    href: str
    trends: Mapping[str, tuple[tuple[int, ...], tuple[float | None, ...]]]

    def chart_data(self) -> dict[str, Any]:
        """Return what the chart needs."""
        values = {
            key: {"cycle": list(cycles), "value": words.short(found)}
            for key, (cycles, found) in self.trends.items()
        }
        return {"label": self.label, "trends": values}


@dataclass(frozen=True, slots=True, kw_only=True)
class CycleView:
    """A selected cycle."""

    cycle_id: int
    number: int
    batch: str
    started_at: datetime
    logged_by: str
    logged_at: datetime
    filename: str
    typed: bool = False
    sheet: SheetSource | None = None
    verdict: str
    kind: Kind
    drift: float | None
    excluded: Excluded | None = None
    numbers: tuple[tuple[str, tuple[NumberLine, ...]], ...]
    further: tuple[tuple[str, tuple[NumberLine, ...]], ...]
    curves: tuple[CurveView, ...]
    curves_href: str
    others: tuple[int, ...] = ()
    side_by_side: SideBySide | None = None
    workings: tuple[tuple[str, str], ...]
    pool: PoolView | None
    pressure: PressureView | None
    doubts: tuple[str, ...]
    not_the_bed: tuple[str, ...]
    voices: tuple[Voice, ...]


@dataclass(frozen=True, slots=True)
class WorkingLine:
    """One number with how it came about, or why there is none."""

    label: str
    unit: str
    value: str
    u: str
    why_not: str
    formula: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkingView:
    """How the numbers of one transition came about; `harm` says why the trace can't be shown."""

    bed_name: str
    bed_href: str
    number: int
    name: str
    names: tuple[str, ...]
    usable: bool
    how_found: str
    harm: str
    lines: tuple[WorkingLine, ...]
    inputs: tuple[tuple[str, str], ...]
    settings: tuple[tuple[str, str], ...]
    working: tuple[tuple[str, str], ...]
    doubts: tuple[str, ...]
    method: str
    version: str
    revision: int
    analysed_at: datetime
    trace_id: int
    filename: str
    sha256: str
    read_by: tuple[int, str] | None
    chart: dict[str, Any] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ribbon:
    """The derivative peaks of one transition over all cycles: a row of densities a cycle."""

    transition: str
    grid_cv: tuple[float, ...]
    cycles: tuple[int, ...]
    density_per_cv: tuple[tuple[float, ...], ...]

    def chart_data(self) -> dict[str, Any]:
        """Return what the chart needs: a row of densities a cycle."""
        return {
            "transition": self.transition,
            "grid": words.short(self.grid_cv),
            "cycles": list(self.cycles),
            "density": [words.short(row) for row in self.density_per_cv],
        }

    @property
    def few(self) -> tuple[int, ...]:
        """Places on the grid, at most 13, that the table beside the picture shows."""
        step = max(1, -(-len(self.grid_cv) // 13))
        return tuple(range(0, len(self.grid_cv), step))


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that happened to the bed: in a cycle, or between that one and the next.

    Attributes
    ----------
    mark : str
        Its sign on the axis of cycles, one of `MARKS`.
    """

    at: datetime
    cycle: int
    between: bool
    mark: str
    label: str
    detail: str = ""

    @property
    def place(self) -> float:
        """Where it lies on the axis of cycles."""
        return self.cycle + 0.5 if self.between else self.cycle

    @property
    def when(self) -> str:
        """Its place among the cycles, in words."""
        if not self.between:
            return f"cycle {self.cycle}"
        return f"after cycle {self.cycle}" if self.cycle else "before cycle 1"

    @property
    def written(self) -> str:
        """What happened, on one line."""
        return f"{self.label}, {self.when}" + (f": {self.detail}" if self.detail else "")


MARKS: Mapping[str, str] = {
    "□": "packed or unpacked",
    "△": "pulse test",
    "≈": "cleaning",
    "+": "maintenance",
    "▾": "baseline complete",
    "!": "limit passed",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class BedView:
    """All of the page Column."""

    line: BedLine
    packing_id: int
    kind_of_column: str
    diameter_cm: float
    bed_height_cm: float
    bed_volume_l: float
    bead_diameter_um: float
    lot_number: str
    packed_at: datetime
    unpacked_at: datetime | None
    qualified: str
    notice: Lede | None
    transitions: tuple[str, ...]
    transition: str
    trends: tuple[Trend, ...]
    cycles: tuple[tuple[int, str, str, Kind], ...]
    selected: CycleView | None
    ribbon: Ribbon | None
    timeline: tuple[Event, ...]
    events_of_cycles: tuple[str, ...]
    packings: tuple[tuple[int, str], ...]
    baseline_note: str
    outlook: OutlookView | None
    experience_note: str = ""
    comparable: tuple[tuple[int, str], ...] = ()
    compared: Compared | None = None
    open_alert_ids: tuple[int, ...] = field(default=())

    @property
    def cells(self) -> list[tuple[str, ...]]:
        """What the table of all cycles says of each cycle: a cell a trend."""
        return list(zip(*(trend.cells for trend in self.trends), strict=True))

    @property
    def marks(self) -> tuple[tuple[str, str], ...]:
        """The signs on the axis that this bed has, with their meanings."""
        found = {event.mark for event in self.timeline}
        return tuple((mark, meaning) for mark, meaning in MARKS.items() if mark in found)

    def chart_data(self) -> dict[str, Any]:
        """Return what the charts of this page need, to be written as JSON."""
        return {
            "trends": [trend.chart_data() for trend in self.trends],
            "ribbon": self.ribbon.chart_data() if self.ribbon else None,
            "events": [
                {"place": event.place, "mark": event.mark, "label": event.written} for event in self.timeline
            ],
            "cycles": [number for number, *_ in self.cycles],
            "compared": self.compared.chart_data() if self.compared else None,
            "others": list(self.selected.others) if self.selected else [],
            "selected": self.selected.number if self.selected else None,
        }
