"""The demo plant as data: what is known of it, and what its beds are really like."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from beadline.demo.truth import Change, Truth


@dataclass(frozen=True, slots=True)
class PlantColumn:
    """Hardware; `skid` names the layout in which its skid writes files."""

    name: str
    asset_tag: str
    kind: str
    area: str
    inner_diameter_mm: float
    pressure_rating_kpa: float
    hold_up_ml: float
    skid: str


@dataclass(frozen=True, slots=True)
class PlantResin:
    """A resin, its limits, and the physics of its beads."""

    name: str
    chemistry: str
    bead_diameter_um: float
    pressure_limit_kpa: float
    cycle_limit: int
    voidage: float
    bead_porosity: float


@dataclass(frozen=True, slots=True)
class PlantLot:
    """A delivered lot of a resin."""

    lot_number: str
    resin: str
    received_on: date


@dataclass(frozen=True, slots=True)
class Phase:
    """A phase of a cycle: which liquid flows, how much of it and how fast.

    Attributes
    ----------
    name : str
        Name in the trace's phase marks.
    volume_cv : float
        Volume [CV].
    conductivity_ms_cm : float
        Conductivity of the liquid at 25 °C [mS/cm].
    ph : float
        pH of the liquid.
    uv_mau : float
        Absorbance of what runs through without binding [mAU].
    relative_velocity : float
        Velocity over that of the plan [1].
    relative_viscosity : float
        Viscosity over that of water [1].
    log_cv : float
        Distance between two rows of the trace [CV].
    product_mau : float
        Height of the product peak that this phase elutes [mAU].
    """

    name: str
    volume_cv: float
    conductivity_ms_cm: float
    ph: float
    uv_mau: float = 0.0
    relative_velocity: float = 1.0
    relative_viscosity: float = 1.0
    log_cv: float = 0.05
    product_mau: float = 0.0


@dataclass(frozen=True, slots=True)
class PlantStepPlan:
    """A process: its phases, and which of its step changes are analysed.

    Attributes
    ----------
    name, product : str
        Name of the plan and of what it makes.
    reference_velocity_cm_h : float
        Superficial velocity [cm/h].
    transitions : tuple of mapping
        Fields of a planned transition: name, quantity, mark, occurrence, start_cv, end_cv, direction,
        volume_cv.
    phases : tuple of Phase
        What the skid does.
    """

    name: str
    product: str
    reference_velocity_cm_h: float
    transitions: tuple[Mapping[str, object], ...]
    phases: tuple[Phase, ...]


@dataclass(frozen=True, slots=True)
class PlantPulseTest:
    """A tracer injection on a packed bed, done after a number of cycles."""

    number: int
    after_cycle: int
    performed_at: datetime
    tracer: str
    injection_ml: float
    velocity_cm_h: float


@dataclass(frozen=True, slots=True)
class PlantEvent:
    """A cleaning or a piece of work on a bed."""

    kind: str
    happened_at: datetime
    note: str


@dataclass(frozen=True, slots=True)
class PlantCycle:
    """One production use of a bed; its trace is made by `cycle_file`."""

    number: int
    batch: str
    started_at: datetime
    operator: str


@dataclass(frozen=True, slots=True)
class PlantPacking:
    """A packed bed with its record, its cycles and pulse tests, and its true story."""

    key: str
    story: str
    column: PlantColumn
    number: int
    lot: PlantLot
    resin: PlantResin
    step_plan: PlantStepPlan
    packed_at: datetime
    unpacked_at: datetime | None
    bed_height_mm: float
    slurry_percent: float
    slurry_volume_l: float
    compression_factor: float
    packing_flow_cm_h: float
    packing_pressure_kpa: float
    cycle_limit: int
    pool_volume_l: float | None
    pool_tank_l: float | None
    cycles: tuple[PlantCycle, ...]
    pulse_tests: tuple[PlantPulseTest, ...]
    truth: Truth
    changes: tuple[Change, ...] = field(default=())
    events: tuple[PlantEvent, ...] = ()
    settled_height_mm: float | None = None
    consolidated_height_mm: float | None = None
    packed_in: str = "buffer of use"
    packed_by: str = "flow"
    demanding_feed: bool = False

    @property
    def bed_volume_m3(self) -> float:
        """Volume of the bed on the packing record [m3]."""
        return 3.141592653589793 / 4 * (self.column.inner_diameter_mm / 1e3) ** 2 * self.bed_height_mm / 1e3


@dataclass(frozen=True, slots=True)
class Plant:
    """The whole invented plant."""

    name: str
    note: str
    seed: int
    operators: tuple[str, ...]
    columns: tuple[PlantColumn, ...]
    resins: tuple[PlantResin, ...]
    lots: tuple[PlantLot, ...]
    step_plans: tuple[PlantStepPlan, ...]
    packings: tuple[PlantPacking, ...]

    def packing(self, key: str) -> PlantPacking:
        """Find a packing by its key, such as "Godwit 1".

        Raises
        ------
        KeyError
            If there is none.
        """
        for packing in self.packings:
            if packing.key == key:
                return packing
        raise KeyError(f"The demo plant has no packing {key!r}.")
