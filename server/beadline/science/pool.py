"""What the bed's present spread does to the product pool, and whether the tank still holds it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from beadline.science.estimates import Doubt, Estimate

Array = NDArray[np.float64]

SHARES = (0.95, 0.99, 0.999)
FINE = 4000  # a stored curve is interpolated to about this many points, without losing its rise


@dataclass(frozen=True, slots=True, eq=False)
class OutletCurve:
    """How one bed spreads a step or a pulse: share that has left over volume.

    Attributes
    ----------
    volume_cv : ndarray [n]
        Rising volumes [CV].
    fraction : ndarray [n]
        Share of the product that has left the bed, 0 to 1.
    fraction_u : float
        Standard uncertainty of each fraction.
    """

    volume_cv: Array
    fraction: Array
    fraction_u: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what isn't a curve."""
        if self.volume_cv.ndim != 1 or self.volume_cv.shape != self.fraction.shape or self.volume_cv.size < 5:
            raise ValueError("volume_cv and fraction must be one-dimensional, of one length, 5 or more")
        if not (np.isfinite(self.volume_cv).all() and np.isfinite(self.fraction).all()):
            raise ValueError("volume_cv and fraction must be finite")
        if not (np.diff(self.volume_cv) > 0).all():
            raise ValueError("volume_cv must rise")
        if not self.fraction_u >= 0:
            raise ValueError(f"fraction_u must not be negative, got {self.fraction_u}")


def from_pulse(volume_cv: ArrayLike, signal: ArrayLike) -> OutletCurve:
    """Turn a pulse without baseline into the share that has left.

    Parameters
    ----------
    volume_cv, signal : array_like
        Volume [CV] and signal above the baseline.

    Raises
    ------
    ValueError
        If the arrays don't fit or hold no area.

    Examples
    --------
    >>> v = np.linspace(0, 2, 401)
    >>> curve = from_pulse(v, np.exp(-0.5 * ((v - 0.9) / 0.03) ** 2))
    >>> round(float(np.interp(0.9, curve.volume_cv, curve.fraction)), 6)
    0.5
    """
    volume, height = np.asarray(volume_cv, dtype=np.float64), np.asarray(signal, dtype=np.float64)
    if volume.shape != height.shape or volume.ndim != 1:
        raise ValueError("volume_cv and signal must be one-dimensional and of one length")
    area = np.concatenate(([0.0], np.cumsum((height[1:] + height[:-1]) / 2 * np.diff(volume))))
    if not (np.isfinite(area).all() and area.size and area[-1] > 0):
        raise ValueError("the pulse must have a finite area above zero")
    return OutletCurve(volume, area / area[-1])


@dataclass(frozen=True, slots=True)
class Holding:
    """The volume that holds one share of the product.

    Attributes
    ----------
    share : float
        Share of the product held.
    now_cv, qualified_cv : Estimate
        Volume between its two quantiles with the present and with the qualified bed [CV].
    growth : Estimate
        Present over qualified.
    pool_m3 : Estimate or None
        What the pool of the qualified bed becomes [m3].
    overflows : bool or None
        Whether that is more than the tank holds.
    """

    share: float
    now_cv: Estimate
    qualified_cv: Estimate
    growth: Estimate
    pool_m3: Estimate | None
    overflows: bool | None


@dataclass(frozen=True, slots=True)
class Pool:
    """All shares, and how much of the product the tank would still take.

    Attributes
    ----------
    holdings : tuple of Holding
        One a share.
    held_by_tank : float or None
        Largest share of the product that fits into the tank with the present bed.
    doubts : tuple of Doubt
        What weakens the numbers, or what to prepare for.
    """

    holdings: tuple[Holding, ...]
    held_by_tank: float | None
    doubts: tuple[Doubt, ...]


def holding_volume(curve: OutletCurve, *, share: float, band_cv: float = 0.0) -> Estimate:
    """Volume [CV] between the two quantiles that leave equal parts of the rest outside.

    Parameters
    ----------
    curve : OutletCurve
        The bed's curve.
    share : float
        Share of the product to hold, 0.5 to 0.9999.
    band_cv : float
        Volume over which the product comes off the resin, before the bed spreads it [CV].

    Raises
    ------
    ValueError
        If the share or band can't be, or the curve doesn't reach the quantiles.

    Examples
    --------
    >>> v = np.linspace(0, 2, 2001)
    >>> curve = from_pulse(v, np.exp(-0.5 * ((v - 0.9) / 0.03) ** 2))
    >>> round(holding_volume(curve, share=0.99).value / 0.03, 3)
    5.152
    """
    if not 0.5 <= share <= 0.9999:
        raise ValueError(f"share must lie between 0.5 and 0.9999, got {share}")
    volume, fraction = _released(curve, band_cv)
    rest = (1 - share) / 2
    if fraction[0] > rest or fraction[-1] < 1 - rest:
        raise ValueError(
            f"the curve runs from {fraction[0]:.4f} to {fraction[-1]:.4f} and can't hold {share}"
        )
    early, early_u = _quantile(volume, fraction, rest, curve.fraction_u)
    late, late_u = _quantile(volume, fraction, 1 - rest, curve.fraction_u)
    return Estimate(late - early, float(np.hypot(early_u, late_u)))


def compare(
    now: OutletCurve,
    qualified: OutletCurve,
    *,
    shares: tuple[float, ...] = SHARES,
    band_cv: float = 0.0,
    pool_m3: float | None = None,
    pool_share: float = 0.99,
    tank_m3: float | None = None,
) -> Pool:
    """Present bed against the qualified bed, and against the tank.

    Parameters
    ----------
    now, qualified : OutletCurve
        Curves of the same transition, or of pulse tests, on the same scale.
    shares : tuple of float
        Shares of the product to hold.
    band_cv : float
        Volume over which the product comes off the resin [CV]; 0 is the strictest view.
    pool_m3 : float, optional
        Volume of the pool with the qualified bed [m3].
    pool_share : float
        Share of the product that this pool held.
    tank_m3 : float, optional
        What the pool tank holds [m3].

    Returns
    -------
    Pool
        Growth of each holding volume, the pool to expect and whether it fits.

    Raises
    ------
    ValueError
        If a volume isn't above zero or a curve can't hold a share.

    Notes
    -----
    A tracer's spread stands for the product's: use the growth, not the absolute volume. Peaks that
    desorption shapes grow less; `band_cv` says by how much.

    Examples
    --------
    >>> v = np.linspace(0, 2, 2001)
    >>> bed = [from_pulse(v, np.exp(-0.5 * ((v - 0.9) / s) ** 2)) for s in (0.03, 0.036)]
    >>> seen = compare(bed[1], bed[0], pool_m3=0.1, tank_m3=0.11)
    >>> round(seen.holdings[1].growth.value, 3), seen.holdings[1].overflows
    (1.2, True)
    """
    for name, size in (("pool_m3", pool_m3), ("tank_m3", tank_m3)):
        if size is not None and not (np.isfinite(size) and size > 0):
            raise ValueError(f"{name} must be above 0, got {size}")
    holdings = tuple(_holding(now, qualified, share, band_cv, pool_m3, tank_m3) for share in shares)
    held = None
    if pool_m3 and tank_m3:
        then = holding_volume(qualified, share=pool_share, band_cv=band_cv)
        held = _best_share(*_released(now, band_cv), tank_m3 / pool_m3 * then.value)
    return Pool(holdings, held, tuple(_doubts(holdings, tank_m3, held)))


def _holding(
    now: OutletCurve,
    qualified: OutletCurve,
    share: float,
    band_cv: float,
    pool_m3: float | None,
    tank_m3: float | None,
) -> Holding:
    present = holding_volume(now, share=share, band_cv=band_cv)
    before = holding_volume(qualified, share=share, band_cv=band_cv)
    ratio = present.value / before.value
    growth = Estimate(ratio, ratio * float(np.hypot(present.u / present.value, before.u / before.value)))
    pool = Estimate(pool_m3 * ratio, pool_m3 * growth.u) if pool_m3 else None
    return Holding(share, present, before, growth, pool, pool.value > tank_m3 if pool and tank_m3 else None)


def _released(curve: OutletCurve, band_cv: float) -> tuple[Array, Array]:
    """The curve made rising, and spread over the band in which the product comes off."""
    if not (np.isfinite(band_cv) and band_cv >= 0):
        raise ValueError(f"band_cv must not be negative, got {band_cv}")
    rising = np.clip(scipy.optimize.isotonic_regression(curve.fraction).x, 0.0, 1.0)
    finer = math.ceil(FINE / curve.volume_cv.size)
    places = np.arange(curve.volume_cv.size)
    volume = np.interp(np.linspace(0, places[-1], places[-1] * finer + 1), places, curve.volume_cv)
    fraction = scipy.interpolate.pchip_interpolate(curve.volume_cv, rising, volume)
    if band_cv == 0:
        return volume, fraction
    sampled = volume
    volume = np.union1d(sampled, sampled + band_cv)
    known = np.interp(volume, sampled, fraction)
    total = np.concatenate(([0.0], np.cumsum((known[1:] + known[:-1]) / 2 * np.diff(volume))))
    before = np.interp(volume - band_cv, volume, total)
    # before the record starts the fraction is that of its first point
    before = np.where(volume - band_cv < volume[0], (volume - band_cv - volume[0]) * fraction[0], before)
    return volume, (total - before) / band_cv


def _quantile(volume: Array, fraction: Array, level: float, fraction_u: float) -> tuple[float, float]:
    """Volume at which a rising curve passes a level, and its uncertainty from the local slope."""
    after = int(np.searchsorted(fraction, level))
    after = min(max(after, 1), fraction.size - 1)
    rise = fraction[after] - fraction[after - 1]
    part = (level - fraction[after - 1]) / rise if rise > 0 else 0.5
    place = float(volume[after - 1] + part * (volume[after] - volume[after - 1]))
    if fraction_u == 0:
        return place, 0.0
    low = np.interp(level - fraction_u, *_strict(fraction, volume))
    high = np.interp(level + fraction_u, *_strict(fraction, volume))
    return place, float(high - low) / 2


def _strict(fraction: Array, volume: Array) -> tuple[Array, Array]:
    """Drop the flat parts of a rising curve, so that it can be read the other way round."""
    keep = np.concatenate(([True], np.diff(fraction) > 0))
    return fraction[keep], volume[keep]


def _best_share(volume: Array, fraction: Array, width_cv: float) -> float:
    """Largest share that any window of a width holds."""
    starts = np.union1d(volume, volume - width_cv)
    held = np.interp(starts + width_cv, volume, fraction) - np.interp(starts, volume, fraction)
    return float(np.max(held))


def _doubts(holdings: tuple[Holding, ...], tank_m3: float | None, held: float | None) -> list[Doubt]:
    said = []
    for holding in holdings:
        if holding.growth.u > 0.1 * holding.growth.value:
            text = f"The volume that holds {holding.share:.1%} hangs on a tail in the noise; it is rough."
            said.append(Doubt("tail_in_noise", text))
    pool = next((holding.pool_m3 for holding in holdings if holding.overflows), None)
    if pool and tank_m3 and held is not None:
        text = (
            f"The pool grows to {pool.value * 1e3:.3g} L; the tank takes {tank_m3 * 1e3:.3g} L, which is "
            f"{held:.1%} of the product at best. Have a larger tank ready, or repack."
        )
        said.append(Doubt("tank_too_small", text))
    return said
