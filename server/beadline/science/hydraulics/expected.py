"""What pressure drop a bed of these beads should show."""

from __future__ import annotations

from dataclasses import dataclass

from beadline.science.hydraulics.drops import blake_kozeny, ergun

POROSITY = 0.35
"""Share of a packed bed between its beads, if nothing is known of it (common practice, no source)."""

POROSITY_RANGE = (0.40, 0.30)
"""From a loose to a tight bed of beads of one size (common practice, no source)."""

WATER_DENSITY_KG_M3 = 998.2
"""Water at 20 °C (IAPWS SR6-08, from memory)."""


@dataclass(frozen=True, slots=True)
class ExpectedDrop:
    """Pressure drop of a rigid bed of spheres [Pa].

    Attributes
    ----------
    blake_kozeny_pa, ergun_pa : float
        By either equation at the usual porosity.
    least_pa, most_pa : float
        By Blake-Kozeny for a loose and for a tight bed.
    """

    blake_kozeny_pa: float
    ergun_pa: float
    least_pa: float
    most_pa: float


def expected_drop(
    *, velocity_m_s: float, viscosity_pa_s: float, bead_diameter_m: float, bed_height_m: float
) -> ExpectedDrop:
    """Return what beads of one size, packed as usual, should cost in pressure.

    Parameters
    ----------
    velocity_m_s, viscosity_pa_s : float
        Superficial velocity [m/s] and viscosity [Pa s].
    bead_diameter_m, bed_height_m : float
        Mean bead diameter and bed height [m].

    Raises
    ------
    ValueError
        If a value isn't above zero.

    Notes
    -----
    The porosity enters by its third power, so that the range is wide; a measured drop outside of it
    asks for fouling, fines, crushed beads or a sensor. Soft beads are compressed by the flow and
    cost more.

    Examples
    --------
    >>> found = expected_drop(velocity_m_s=300 / 3.6e5, viscosity_pa_s=1.0016e-3,
    ...                       bead_diameter_m=90e-6, bed_height_m=0.2)
    >>> [round(pa / 1e5, 2) for pa in (found.least_pa, found.blake_kozeny_pa, found.ergun_pa, found.most_pa)]
    [0.17, 0.3, 0.31, 0.56]
    """

    def drop(porosity: float) -> float:
        return blake_kozeny(
            velocity_m_s=velocity_m_s,
            viscosity_pa_s=viscosity_pa_s,
            bead_diameter_m=bead_diameter_m,
            porosity=porosity,
            bed_height_m=bed_height_m,
        )

    loose, tight = POROSITY_RANGE
    inertial = ergun(
        velocity_m_s=velocity_m_s,
        viscosity_pa_s=viscosity_pa_s,
        density_kg_m3=WATER_DENSITY_KG_M3,
        bead_diameter_m=bead_diameter_m,
        porosity=POROSITY,
        bed_height_m=bed_height_m,
    )
    return ExpectedDrop(drop(POROSITY), inertial, drop(loose), drop(tight))
