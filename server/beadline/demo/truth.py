"""What the demo beds are really like, and what happens to them: the physical parameters of a story."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Change:
    """A physical parameter that moves over cycles, in a straight line to its new value.

    Attributes
    ----------
    parameter : str
        A field of `Truth`.
    from_cycle : int
        First cycle that feels it.
    over_cycles : int
        Cycles until the new value is reached; 1 is a step.
    to : float
        New value.
    """

    parameter: str
    from_cycle: int
    over_cycles: int
    to: float


@dataclass(frozen=True, slots=True)
class Truth:
    """What a bed, its skid and its liquids are really like in a cycle.

    Attributes
    ----------
    plate_factor : float
        Plate height over that of a good bed [1].
    skid_mixing_cv, stagnant_ratio, stagnant_exchange_cv : float
        As in the bed model; the first is one stirred volume of the skid [CV].
    fast_share, fast_velocity : float
        A crack or channel: share of the flow, and its velocity over the rest [1].
    slow_share, slow_velocity : float
        A fouled zone: share of the flow, and its velocity over the rest [1].
    settled_mm, lost_mm : float
        Gap under the top adapter [mm].
    deposit : float
        Share of the voidage in the top tenth that deposits fill [1].
    probe_gain, probe_offset_ms_cm, probe_lag_cv : float
        Conductivity probe.
    salt_strength : float
        Conductivity of liquids above 15 mS/cm over that of the recipe [1].
    mark_late_cv : float
        How late the phase mark is written [CV].
    flow_gain : float
        Recorded over true flow [1].
    temperature_c : float
        Mean temperature of the liquids [°C].
    extra_pressure_bar : float
        Peak of the pressure in the first phase above normal [bar].
    """

    plate_factor: float = 1.0
    skid_mixing_cv: float = 0.02
    stagnant_ratio: float = 0.0
    stagnant_exchange_cv: float = 0.3
    fast_share: float = 0.0
    fast_velocity: float = 1.4
    slow_share: float = 0.0
    slow_velocity: float = 0.85
    settled_mm: float = 0.0
    lost_mm: float = 0.0
    deposit: float = 0.0
    probe_gain: float = 1.0
    probe_offset_ms_cm: float = 0.0
    probe_lag_cv: float = 0.004
    salt_strength: float = 1.0
    mark_late_cv: float = 0.0
    flow_gain: float = 1.0
    temperature_c: float = 20.0
    extra_pressure_bar: float = 0.0
