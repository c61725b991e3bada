"""Experience of sister beds: spread and autocorrelation pooled over the plant (empirical Bayes)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import scipy
from numpy.typing import NDArray

from beadline.science.drift.baseline import robust_moments, values_of
from beadline.science.drift.prior import Prior
from beadline.science.drift.reading import Reading, metric_of
from beadline.science.drift.settings import Settings

Floats = NDArray[np.float64]
_MOST_WORTH = 60.0
LEAST_BEDS = 3
_LEAST_CYCLES = 8


def pool(beds: Sequence[Sequence[Reading]], settings: Settings) -> Prior:
    """Learn from beds of the same resin and process what spread and autocorrelation are usual.

    Parameters
    ----------
    beds : sequence of sequence of Reading
        For each bed its cycles in control, best those of its baseline.
    settings : Settings
        How beds are watched; `phi` is what is expected without experience.

    Returns
    -------
    Prior
        With no spread for keys that fewer than 3 beds have.

    Notes
    -----
    The more alike the beds' spreads are, beyond what chance explains, the more degrees of freedom the common
    one is worth. Lag-1 correlations are corrected for their bias in short series, averaged, and weighed with
    what was expected.

    References
    ----------
    Smyth, G. K. (2004), Statistical Applications in Genetics and Molecular Biology 3, Article 3: the moment
    estimator of the prior degrees of freedom (from memory).
    Marriott, F. H. C., Pope, J. A. (1954), Biometrika 41, 390-402: bias of the lag-1 correlation (from
    memory).

    Examples
    --------
    >>> pool([], Settings()).beds
    0
    """
    rows = [[reading for reading in bed if reading.counts] for bed in beds]
    rows = [bed for bed in rows if len(bed) >= _LEAST_CYCLES]
    sd, worth = {}, {}
    lags: list[tuple[float, int]] = []
    for key in sorted({key for bed in rows for reading in bed for key in reading.values}):
        found = [y for bed in rows if (y := _series(bed, key)) is not None]
        lags += [(_lag(y), len(y)) for y in found]
        if len(found) >= LEAST_BEDS:
            spreads = [(float(robust_moments(y[:, None])[1][0]), len(y) - 1) for y in found]
            sd[key], worth[key] = _common_spread(np.array(spreads))
    phi, phi_spread = _pooled_phi(np.array(lags).reshape(-1, 2), settings.phi, len(rows))
    return Prior(len(rows), phi=phi, phi_spread=phi_spread, sd=sd, worth=worth)


def _series(bed: Sequence[Reading], key: str) -> Floats | None:
    """Values of one key on its charted scale; None where too few cycles have it, or all are the same."""
    having = [reading for reading in bed if key in reading.values]
    log = metric_of(key).scale == "log" and all(r.values[key].value > 0 for r in having)
    values = values_of(having, [key], np.array([log]))[0][:, 0]
    values = values[np.isfinite(values)]
    return values if len(values) >= _LEAST_CYCLES and np.ptp(values) > 0 else None


def _lag(y: Floats) -> float:
    """Lag-1 correlation, corrected for its bias."""
    centre, spread = robust_moments(y[:, None])
    z = np.clip((y - centre[0]) / spread[0], -3.5, 3.5)
    raw = float(z[1:] @ z[:-1] / (z @ z))
    return (len(y) * raw + 1) / (len(y) - 3)


def _common_spread(spreads: Floats) -> tuple[float, float]:
    """Common spread and the degrees of freedom it is worth."""
    variance, dof = spreads[:, 0] ** 2, spreads[:, 1]
    centred = np.log(variance) - scipy.special.digamma(dof / 2) + np.log(dof / 2)
    extra = float(np.var(centred, ddof=1) - np.mean(scipy.special.polygamma(1, dof / 2)))
    worth = _MOST_WORTH if extra <= 0 else min(2 * _inverse_trigamma(extra), _MOST_WORTH)
    common = float(np.exp(np.mean(centred) + scipy.special.digamma(worth / 2) - np.log(worth / 2)))
    return float(np.sqrt(common)), worth


def _inverse_trigamma(value: float) -> float:
    """Solve trigamma(x) = value by Newton's method on its reciprocal, which is nearly straight."""
    x = 0.5 + 1 / value
    for _ in range(50):
        now = float(scipy.special.polygamma(1, x))
        step = now * (1 - now / value) / float(scipy.special.polygamma(2, x))
        x += step
        if abs(step) < 1e-10 * x:
            break
    return x


def _pooled_phi(lags: Floats, expected: float, beds: int) -> tuple[float, float]:
    """Average correlation, drawn to what was expected while there are few beds, and its spread."""
    if len(lags) == 0:
        return expected, 0.15
    known = beds / (beds + 4.0)
    found = float(np.average(lags[:, 0], weights=lags[:, 1]))
    phi = float(np.clip(known * found + (1 - known) * expected, 0.0, 0.6))
    return phi, float(np.clip(0.15 * np.sqrt(1 - known), 0.08, 0.15))
