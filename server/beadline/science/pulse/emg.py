"""The exponentially modified Gaussian: a band spread evenly, then smeared by one mixed volume."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

Array = NDArray[np.float64]

STARTS = ((0.4, 0.12), (0.3, 0.45))  # width and tail, in widths at half height


def density(volume_m3: Array, mu_m3: float, sigma_m3: float, tau_m3: float) -> Array:
    """Density [1/m3] of a Gaussian convolved with an exponential; a negative tau mirrors it (fronting).

    Notes
    -----
    Written with the scaled complementary error function, so that a small tau doesn't overflow.
    Mean mu + tau and variance sigma^2 + tau^2, with tau's own sign.

    References
    ----------
    Grushka, Anal. Chem. 44 (1972) 1733 (from memory).

    Examples
    --------
    >>> import numpy as np
    >>> v = np.linspace(0, 120, 12001)
    >>> bool(abs(np.trapezoid(v * density(v, 30, 1, 2), v) - 32) < 1e-6)
    True
    """
    z = (volume_m3 - mu_m3) / sigma_m3
    gaussian = np.exp(-0.5 * z**2)
    ratio = abs(tau_m3) / sigma_m3
    if ratio < 1e-3:
        # first-order series in tau; the next term is below 1e-6 of the height
        return np.asarray(gaussian * (1 + z * tau_m3 / sigma_m3) / (sigma_m3 * np.sqrt(2 * np.pi)))
    z = z if tau_m3 > 0 else -z
    x = (1 / ratio - z) / np.sqrt(2)
    front = gaussian * scipy.special.erfcx(np.maximum(x, -5.0))
    exponent = np.minimum(0.5 / ratio**2 - z / ratio, 700.0)
    tail = np.exp(np.where(x < -5, exponent, -700.0)) * scipy.special.erfc(x)
    return np.asarray(np.where(x < -5, tail, front) / (2 * abs(tau_m3)))


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """An exponentially modified Gaussian laid through a peak.

    Attributes
    ----------
    mu_m3, sigma_m3, tau_m3 : float
        Parameters [m3]; a negative tau means fronting.
    area : float
        Area [signal m3].
    influence : ndarray [4, n]
        Change of (mu, sigma, tau, area) per unit change of each sample.
    residual : ndarray
        Signal minus fit.
    """

    mu_m3: float
    sigma_m3: float
    tau_m3: float
    area: float
    influence: Array
    residual: Array

    @property
    def parameters(self) -> Array:
        """The parameters mu, sigma, tau and area."""
        return np.array([self.mu_m3, self.sigma_m3, self.tau_m3, self.area])

    def peak(self, volume_m3: Array) -> Array:
        """Fitted peak without its baseline."""
        return self.area * density(volume_m3, self.mu_m3, self.sigma_m3, self.tau_m3)


def fit(
    volume_m3: Array, signal: Array, *, apex_m3: float, front_m3: float, back_m3: float, with_baseline: bool
) -> Fit:
    """Fit the peak by least squares, from its apex and half widths at half height.

    Parameters
    ----------
    volume_m3, signal : ndarray
        The record.
    apex_m3, front_m3, back_m3 : float
        First guess: volume of the apex and the half widths before and after it [m3].
    with_baseline : bool
        Fit a straight baseline along with the peak.

    Returns
    -------
    Fit
        The best of a tailing and a fronting start.

    Examples
    --------
    >>> import numpy as np
    >>> v = np.linspace(0, 60, 601)
    >>> found = fit(v, 5 * density(v, 30, 1, 2), apex_m3=31, front_m3=1, back_m3=2, with_baseline=False)
    >>> round(found.tau_m3, 6)
    2.0
    """
    unit, height = front_m3 + back_m3, float(np.max(np.abs(signal)))
    x, y = (volume_m3 - apex_m3) / unit, signal / height
    sign = 1.0 if back_m3 >= front_m3 else -1.0
    solved = [_solve(x, y, width, sign * tail, with_baseline=with_baseline) for width, tail in STARTS]
    best = min(solved, key=lambda result: float(result.cost))
    amplitudes, residual, design = _linear(best.x, x, y, with_baseline=with_baseline)
    scale = unit * np.array([1 / height, 1 / height, 1 / height, 1.0])[:, None]
    mu, sigma, tau = float(best.x[0]), float(np.exp(best.x[1])), float(best.x[2])
    return Fit(
        mu_m3=apex_m3 + unit * mu,
        sigma_m3=unit * sigma,
        tau_m3=unit * tau,
        area=unit * height * float(amplitudes[0]),
        influence=_influence(best.x, amplitudes, x, design) * scale,
        residual=residual * height,
    )


def _solve(
    x: Array, signal: Array, width: float, tail: float, *, with_baseline: bool
) -> scipy.optimize.OptimizeResult:
    """Vary position, width and tail; area and baseline follow by linear least squares."""
    first = np.array([-0.6 * tail, np.log(width), tail])

    def misfit(p: Array) -> Array:
        return _linear(p, x, signal, with_baseline=with_baseline)[1]

    bounds = ([-3.0, np.log(0.02), -6.0], [3.0, np.log(3.0), 6.0])
    return scipy.optimize.least_squares(misfit, first, bounds=bounds, x_scale=(0.1, 0.1, 0.1), max_nfev=60)


def _linear(p: Array, x: Array, signal: Array, *, with_baseline: bool) -> tuple[Array, Array, Array]:
    """Best area and baseline for a given shape; returns them with the residual and the design."""
    shape = density(x, float(p[0]), float(np.exp(p[1])), float(p[2]))
    columns = [shape, np.ones_like(x), x] if with_baseline else [shape]
    design = np.column_stack(columns)
    amplitudes = np.asarray(np.linalg.lstsq(design, signal, rcond=None)[0], dtype=np.float64)
    return amplitudes, np.asarray(signal - design @ amplitudes), design


def _influence(p: Array, amplitudes: Array, x: Array, design: Array) -> Array:
    """First-order change of (mu, sigma, tau, area) with each sample, in the fit's own unit."""
    natural = np.array([p[0], np.exp(p[1]), p[2]])
    step = 1e-5 * np.array([1.0, natural[1], max(abs(p[2]), 0.05)])
    jacobian = [
        amplitudes[0] * (density(x, *(natural + d)) - density(x, *(natural - d))) / (2 * d.sum())
        for d in np.diag(step)
    ]
    whole = np.column_stack([*jacobian, design])
    size = np.linalg.norm(whole, axis=0)
    size[size == 0] = 1.0
    # a tail near 0 and a shift look alike: the cut leaves what can't be told apart undivided
    inverse = np.linalg.pinv(whole / size, rcond=1e-3) / size[:, None]
    return np.asarray(inverse[:4])
