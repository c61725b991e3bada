"""Pressure drop and permeability of a packed bed."""

from __future__ import annotations

from beadline.science import arguments


def blake_kozeny(
    *,
    velocity_m_s: float,
    viscosity_pa_s: float,
    bead_diameter_m: float,
    porosity: float,
    bed_height_m: float,
) -> float:
    """Pressure drop [Pa] of a bed of spheres in creeping flow, with the constant 150.

    Parameters
    ----------
    velocity_m_s : float
        Superficial velocity [m/s].
    viscosity_pa_s : float
        Viscosity [Pa s].
    bead_diameter_m : float
        Mean bead diameter [m].
    porosity : float
        Interstitial porosity, 0 to 1.
    bed_height_m : float
        Bed height [m].

    Raises
    ------
    ValueError
        If a value can't be.

    Notes
    -----
    For particle Reynolds numbers below about 1 and beds that keep their height. Beds of soft beads
    are compressed by the flow: then the drop rises faster than the velocity.

    References
    ----------
    Bird, Stewart, Lightfoot, Transport Phenomena, 2nd ed., eq. 6.4-9 (from memory).

    Examples
    --------
    >>> round(blake_kozeny(velocity_m_s=300 / 3.6e5, viscosity_pa_s=1.0016e-3, bead_diameter_m=90e-6,
    ...                    porosity=0.35, bed_height_m=0.2))
    30463
    """
    return 150 * _creep(velocity_m_s, viscosity_pa_s, bead_diameter_m, porosity, bed_height_m)


def kozeny_carman(
    *,
    velocity_m_s: float,
    viscosity_pa_s: float,
    bead_diameter_m: float,
    porosity: float,
    bed_height_m: float,
) -> float:
    """Pressure drop [Pa] with the constant 180; parameters and limits as for `blake_kozeny`.

    References
    ----------
    Carman, Trans. Inst. Chem. Eng. 15 (1937) 150 (from memory).

    Examples
    --------
    >>> round(kozeny_carman(velocity_m_s=300 / 3.6e5, viscosity_pa_s=1.0016e-3, bead_diameter_m=90e-6,
    ...                     porosity=0.35, bed_height_m=0.2))
    36556
    """
    return 180 * _creep(velocity_m_s, viscosity_pa_s, bead_diameter_m, porosity, bed_height_m)


def ergun(
    *,
    velocity_m_s: float,
    viscosity_pa_s: float,
    density_kg_m3: float,
    bead_diameter_m: float,
    porosity: float,
    bed_height_m: float,
) -> float:
    """Pressure drop [Pa] with the inertial term; parameters as for `blake_kozeny`, and density [kg/m3].

    References
    ----------
    Ergun, Chem. Eng. Prog. 48 (1952) 89 (from memory; agrees with an open library).

    Examples
    --------
    >>> round(ergun(velocity_m_s=300 / 3.6e5, viscosity_pa_s=1.0016e-3, density_kg_m3=998.2,
    ...             bead_diameter_m=90e-6, porosity=0.35, bed_height_m=0.2))
    30504
    """
    arguments.positive(density_kg_m3=density_kg_m3)
    creep = 150 * _creep(velocity_m_s, viscosity_pa_s, bead_diameter_m, porosity, bed_height_m)
    inertia = 1.75 * density_kg_m3 * velocity_m_s**2 * (1 - porosity) / (bead_diameter_m * porosity**3)
    return creep + inertia * bed_height_m


def _creep(velocity: float, viscosity: float, bead: float, porosity: float, height: float) -> float:
    arguments.positive(
        velocity_m_s=velocity, viscosity_pa_s=viscosity, bead_diameter_m=bead, bed_height_m=height
    )
    if not 0 < porosity < 1:
        raise ValueError(f"porosity must lie between 0 and 1, got {porosity}")
    return viscosity * velocity * height * (1 - porosity) ** 2 / (bead**2 * porosity**3)
