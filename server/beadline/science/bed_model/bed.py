"""What a packed bed is made of, and how it is run."""

from __future__ import annotations

from dataclasses import dataclass


def _require(ok: bool, name: str, value: float, rule: str) -> None:  # noqa: FBT001
    if not ok:
        raise ValueError(f"{name} must be {rule}, not {value!r}")


@dataclass(frozen=True, slots=True)
class SidePath:
    """A part of the flow that takes another way than the rest: crack, channel, slow or fouled zone.

    Attributes
    ----------
    share : float
        Share of the flow that goes this way [1]; 0 to below 1.
    relative_velocity : float
        Velocity in this path over that in the rest of the bed [1]; above 0.
    plate_ratio : float
        Plate height in this path over that in the rest of the bed [1]; above 0.

    Raises
    ------
    ValueError
        If a value is outside its range.

    Examples
    --------
    >>> SidePath(share=0.02, relative_velocity=1.4).plate_ratio
    3.0
    """

    share: float
    relative_velocity: float
    plate_ratio: float = 3.0

    def __post_init__(self) -> None:
        _require(0 <= self.share < 1, "share", self.share, "from 0 to below 1")
        _require(self.relative_velocity > 0, "relative_velocity", self.relative_velocity, "above 0")
        _require(self.plate_ratio > 0, "plate_ratio", self.plate_ratio, "above 0")


@dataclass(frozen=True, slots=True)
class Run:
    """How the bed is run: velocity, temperature, and what is seen at the outlet.

    Attributes
    ----------
    velocity_m_s : float
        Superficial velocity [m/s].
    temperature_k : float
        Temperature [K]; liquid water, 273.15 to 373.15.
    diffusivity_25c_m2_s : float
        Diffusivity of the tracer in water at 25 °C [m2/s]; 1.5e-9 is near that of sodium chloride.
    pore_access : float
        Share of the bead pores that the tracer can enter [1].
    relative_viscosity : float
        Viscosity of the liquid over that of water [1].

    Raises
    ------
    ValueError
        If a value is outside its range.

    Examples
    --------
    >>> Run(velocity_m_s=200 / 360000, temperature_k=293.15).pore_access
    1.0
    """

    velocity_m_s: float
    temperature_k: float
    diffusivity_25c_m2_s: float = 1.5e-9
    pore_access: float = 1.0
    relative_viscosity: float = 1.0

    def __post_init__(self) -> None:
        _require(self.velocity_m_s > 0, "velocity_m_s", self.velocity_m_s, "above 0")
        _require(
            273.15 <= self.temperature_k <= 373.15, "temperature_k", self.temperature_k, "273.15 to 373.15"
        )
        _require(self.diffusivity_25c_m2_s > 0, "diffusivity_25c_m2_s", self.diffusivity_25c_m2_s, "above 0")
        _require(0 <= self.pore_access <= 1, "pore_access", self.pore_access, "from 0 to 1")
        _require(self.relative_viscosity > 0, "relative_viscosity", self.relative_viscosity, "above 0")


@dataclass(frozen=True, slots=True)
class Bed:
    """A packed bed between two adapters; one column volume is the space between them.

    Attributes
    ----------
    height_m : float
        Distance between the adapters [m]: the bed height on the packing record.
    bead_diameter_m : float
        Mean bead diameter [m].
    voidage : float
        Share of the bed between the beads as packed [1].
    bead_porosity : float
        Share of a bead that a small tracer can enter [1].
    eddy, diffusion, transfer : float
        Coefficients A, B, C of the reduced plate height h = A v^(1/3) + B/v + C v.
    plate_factor : float
        Plate height over that of the three coefficients [1]; above 1 for a poor or fouled bed.
    side_paths : tuple of SidePath
        Flow that goes another way than the rest; shares add up to less than 1.
    mixed_volumes_cv : tuple of float
        Stirred volumes in series with the bed, such as skid, distributor and frits [CV].
    hold_up_cv : float
        Unmixed volume from the valve to the bed [CV].
    settled_m : float
        Gap under the top adapter that opened because the bed was compressed [m]; stirred by the inflow.
    lost_m : float
        Gap under the top adapter because resin was lost, at constant voidage [m].
    stagnant_ratio : float
        Stagnant liquid over moving liquid [1].
    stagnant_exchange_cv : float
        Volume in which stagnant liquid exchanges with moving liquid [CV].
    deposit : float
        Share of the voidage taken by deposits in the top tenth of the bed [1].
    compressibility_per_pa : float
        Loss of voidage per pressure drop [1/Pa].

    Raises
    ------
    ValueError
        If a value is outside its range.

    Examples
    --------
    >>> round(Bed(height_m=0.2, bead_diameter_m=90e-6).retention_cv, 3)
    0.909
    """

    height_m: float
    bead_diameter_m: float
    voidage: float = 0.35
    bead_porosity: float = 0.86
    eddy: float = 0.6
    diffusion: float = 2.0
    transfer: float = 0.008
    plate_factor: float = 1.0
    side_paths: tuple[SidePath, ...] = ()
    mixed_volumes_cv: tuple[float, ...] = ()
    hold_up_cv: float = 0.0
    settled_m: float = 0.0
    lost_m: float = 0.0
    stagnant_ratio: float = 0.0
    stagnant_exchange_cv: float = 0.5
    deposit: float = 0.0
    compressibility_per_pa: float = 0.0

    def __post_init__(self) -> None:
        for name in ("height_m", "bead_diameter_m", "plate_factor", "stagnant_exchange_cv"):
            _require(getattr(self, name) > 0, name, getattr(self, name), "above 0")
        for name in ("eddy", "diffusion", "transfer", "hold_up_cv", "settled_m", "lost_m", "stagnant_ratio"):
            _require(getattr(self, name) >= 0, name, getattr(self, name), "0 or above")
        for name in ("voidage", "bead_porosity"):
            _require(0 < getattr(self, name) < 1, name, getattr(self, name), "between 0 and 1")
        _require(0 <= self.deposit < 1, "deposit", self.deposit, "from 0 to below 1")
        _require(
            self.compressibility_per_pa >= 0,
            "compressibility_per_pa",
            self.compressibility_per_pa,
            "0 or above",
        )
        _require(
            all(v >= 0 for v in self.mixed_volumes_cv),
            "mixed_volumes_cv",
            min((0.0, *self.mixed_volumes_cv)),
            "0 or above",
        )
        shares = sum(path.share for path in self.side_paths)
        _require(shares < 1, "the sum of the side paths' shares", shares, "below 1")
        _require(
            self.packed_height_m > (1 - self.voidage) * self.height_m,
            "settled_m + lost_m",
            self.gap_cv,
            "small enough to leave space between the beads",
        )

    @property
    def packed_height_m(self) -> float:
        """Height that beads really fill [m]."""
        return self.height_m - self.settled_m - self.lost_m

    @property
    def gap_cv(self) -> float:
        """Liquid between bed and top adapter [CV]."""
        return (self.settled_m + self.lost_m) / self.height_m

    @property
    def packed_voidage(self) -> float:
        """Voidage of the bed after settling: the beads keep their volume [1]."""
        beads = (1 - self.voidage) * (self.height_m - self.lost_m)
        return 1 - beads / self.packed_height_m

    @property
    def retention_cv(self) -> float:
        """Liquid in the packed part that a small tracer can enter [CV], without gap and skid."""
        return self.liquid_cv(1.0)

    def liquid_cv(self, pore_access: float) -> float:
        """Liquid in the packed part that a tracer with this access to the pores can enter [CV]."""
        beads = (1 - self.voidage) * (self.height_m - self.lost_m) / self.height_m
        return self.packed_height_m / self.height_m - beads * (1 - self.bead_porosity * pore_access)
