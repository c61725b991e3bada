"""Pressure drop of a bed that may be compressed, fouled or have a gap."""

from __future__ import annotations

from beadline.science.bed_model import dispersion
from beadline.science.bed_model.bed import Bed, Run

_FOULED_SHARE = 0.1
_KOZENY = 180.0


def _resistance(voidage: float) -> float:
    return _KOZENY * (1 - voidage) ** 2 / voidage**3


def pressure_drop(bed: Bed, *, run: Run) -> float:
    """Pressure drop over the packed part of a bed.

    Parameters
    ----------
    bed : Bed
        The bed.
    run : Run
        How it is run.

    Returns
    -------
    float
        Pressure drop [Pa].

    Raises
    ------
    ValueError
        If the bed is so compressible that no steady flow exists at this velocity.

    Notes
    -----
    Kozeny-Carman with the constant 180, laminar (particle Reynolds number below 1). The top tenth has its
    voidage reduced by deposits; a settled bed is shorter and denser; a compressible bed loses voidage in
    proportion to the pressure drop. Side paths that lead faster carry their share past the bed: the drop
    falls by the flow they take beyond their even share. No support by the wall.

    References
    ----------
    Kozeny-Carman equation, constants 150 to 180 as in https://www.scribd.com/document/547213756/preprints201905-0367-v2

    Examples
    --------
    >>> bed = Bed(height_m=0.2, bead_diameter_m=90e-6)
    >>> round(pressure_drop(bed, run=Run(velocity_m_s=300 / 360000, temperature_k=293.15)))
    36554
    """
    viscosity = dispersion.water_viscosity(run.temperature_k) * run.relative_viscosity
    scale = viscosity * run.velocity_m_s * bed.packed_height_m / bed.bead_diameter_m**2 / _split_gain(bed)
    drop = scale * _mean_resistance(bed, bed.packed_voidage)
    for _ in range(40 if bed.compressibility_per_pa else 0):
        voidage = bed.packed_voidage - bed.compressibility_per_pa * drop
        if voidage < 0.1:
            raise ValueError(f"velocity_m_s {run.velocity_m_s!r} is past the critical velocity of this bed")
        drop = scale * _mean_resistance(bed, voidage)
    return drop


def _mean_resistance(bed: Bed, voidage: float) -> float:
    fouled = _resistance(voidage * (1 - bed.deposit))
    return (1 - _FOULED_SHARE) * _resistance(voidage) + _FOULED_SHARE * fouled


def _split_gain(bed: Bed) -> float:
    """Flow of the split bed over that of the even bed at the same pressure drop."""
    rest = 1 - sum(path.share for path in bed.side_paths)
    return 1 / (rest + sum(path.share / path.relative_velocity for path in bed.side_paths))
