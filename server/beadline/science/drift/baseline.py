"""What normal is: centre and spread of every key over the baseline cycles."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from beadline.science.drift.prior import Prior
from beadline.science.drift.reading import Reading, metric_of
from beadline.science.drift.settings import Settings
from beadline.science.estimates import Estimate

Floats = NDArray[np.float64]
WINSOR_SD = 3.5
REJECT_SD = 6.0
_MAD_TO_SD = 1.4826
_MIN_SHARE = 0.7
_NONE = Estimate(float("nan"), float("nan"))


@dataclass(frozen=True)
class Baseline:
    """Centre and spread on the scale of each metric (natural log where `log`).

    Attributes
    ----------
    cycles : tuple of int
        Cycles that define it.
    keys : tuple of str
        Keys that enough of these cycles have.
    log : array of bool
        Whether a key is charted by its logarithm.
    centre, sd : array
        Robust mean and standard deviation, on the scale of the key.
    u_centre, u_sd : array
        Their standard uncertainties, autocorrelation allowed for.
    usual_u : array
        Median standard uncertainty of one value, on the scale of the key.
    """

    cycles: tuple[int, ...]
    keys: tuple[str, ...]
    log: NDArray[np.bool_]
    centre: Floats
    sd: Floats
    u_centre: Floats
    u_sd: Floats
    usual_u: Floats

    def to_dict(self) -> dict[str, Any]:
        """Plain values for storage as JSON."""
        arrays = ("log", "centre", "sd", "u_centre", "u_sd", "usual_u")
        return {"cycles": list(self.cycles), "keys": list(self.keys)} | {
            name: getattr(self, name).tolist() for name in arrays
        }

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any]) -> Baseline:
        """Read back what `to_dict` gave."""
        numbers = {n: np.array(stored[n], float) for n in ("centre", "sd", "u_centre", "u_sd", "usual_u")}
        return cls(tuple(stored["cycles"]), tuple(stored["keys"]), np.array(stored["log"], bool), **numbers)

    def standardised(self, readings: Sequence[Reading]) -> Floats:
        """Values of cycles in baseline standard deviations [cycles, keys]; nan where a cycle has none.

        Notes
        -----
        A value that is known less well than usual is drawn towards the centre, so that its spread stays that
        of the baseline.
        """
        rows, u = values_of(readings, self.keys, self.log)
        extra = np.maximum(u**2 - self.usual_u**2, 0.0)
        z: Floats = (rows - self.centre) / np.sqrt(self.sd**2 + extra)
        return z

    def on_unit(self, scaled: Floats) -> Floats:
        """Turn numbers on the charted scale back into the metrics' own units."""
        with np.errstate(over="ignore"):
            return np.where(self.log, np.exp(scaled), scaled)


def values_of(
    readings: Sequence[Reading], keys: Sequence[str], log: NDArray[np.bool_]
) -> tuple[Floats, Floats]:
    """Values and standard uncertainties on the charted scales [cycles, keys]; nan where there is none."""
    found = [reading.values.get(key, _NONE) for reading in readings for key in keys]
    rows, u = (
        np.array([(e.value, e.u) for e in found]).reshape(len(readings), len(keys), 2).transpose(2, 0, 1)
    )
    with np.errstate(invalid="ignore", divide="ignore"):
        u = np.where(log, u / rows, u)
        rows = np.where(log, np.where(rows > 0, np.log(np.where(rows > 0, rows, 1.0)), np.nan), rows)
    rows[~np.isfinite(rows)] = np.nan
    return rows, np.where(np.isfinite(u), np.abs(u), 0.0)


def learn(
    readings: Sequence[Reading], settings: Settings, *, prior: Prior | None = None, young: bool = False
) -> Baseline:
    """Learn centre and spread from the baseline cycles.

    Parameters
    ----------
    readings : sequence of Reading
        The cycles of the baseline, all of which count.
    settings : Settings
        Which keys to leave out, and the autocorrelation to allow for.
    prior : Prior, optional
        Spread of sister beds, towards which the bed's own is drawn.
    young : bool
        Whether these are but the first cycles of a baseline, whose centre is drawn to what was promised.

    Returns
    -------
    Baseline
        One centre and spread for every key that at least 70 % of the cycles have.

    Raises
    ------
    ValueError
        If there are fewer than 3 readings.

    Notes
    -----
    Median and median absolute deviation find the odd values: beyond 6 standard deviations they are left
    out, beyond 3.5 drawn in. Mean and standard deviation of the rest follow, so that little efficiency is
    lost on normal data.

    References
    ----------
    Tukey, J. W. (1962), The future of data analysis, Annals of Mathematical Statistics 33, 1-67: winsorising
    (from memory).

    Examples
    --------
    >>> from beadline.science.estimates import Estimate
    >>> cycles = [Reading(n, {"wash/skewness": Estimate(v, 0.1)}) for n, v in enumerate([1.0, 1.2, 0.8, 1.0])]
    >>> float(learn(cycles, Settings()).centre[0])
    1.0
    """
    if len(readings) < 3:
        raise ValueError(f"A baseline needs at least 3 cycles, not {len(readings)}.")
    keys = _charted_keys(readings, settings)
    log = np.array([metric_of(key).scale == "log" and _all_positive(readings, key) for key in keys], bool)
    rows, us = values_of(readings, keys, log)
    centre, sd = robust_moments(rows)
    sd = _drawn_to_fleet(sd, keys, len(readings), prior)
    if young and prior is not None:
        centre = _drawn_to_promise(centre, sd, keys, cycles=len(readings), prior=prior)
    usual_u = np.median(us, axis=0)
    smallest = np.where(log, 1e-4, 1e-4 * np.maximum(np.abs(centre), 1e-12))
    sd = np.maximum(sd, np.maximum(0.2 * usual_u, smallest))
    m, phi = len(readings), settings.phi
    return Baseline(
        cycles=tuple(r.cycle for r in readings),
        keys=keys,
        log=log,
        centre=centre,
        sd=sd,
        u_centre=sd * np.sqrt((1 + phi) / (1 - phi) / m),
        u_sd=sd * np.sqrt((1 + phi**2) / (1 - phi**2) / (2 * (m - 1))),
        usual_u=usual_u,
    )


def robust_moments(rows: Floats) -> tuple[Floats, Floats]:
    """Mean and standard deviation of each column without odd values; nan is left out.

    Examples
    --------
    >>> centre, sd = robust_moments(np.array([[1.0], [1.1], [0.9], [1.2], [0.8], [1.0], [1.05], [7.0]]))
    >>> round(float(centre[0]), 3)
    1.007
    """
    if rows.shape[1] == 0:
        return np.zeros(0), np.zeros(0)
    middle = np.nanmedian(rows, axis=0)
    spread = _MAD_TO_SD * np.nanmedian(np.abs(rows - middle), axis=0)
    spread = np.maximum(spread, 0.2 * np.nanstd(rows, axis=0, ddof=1))
    kept = np.where(np.abs(rows - middle) > REJECT_SD * spread, np.nan, rows)
    kept = np.where(np.sum(~np.isnan(kept), axis=0) >= 3, kept, rows)
    drawn_in = np.clip(kept, middle - WINSOR_SD * spread, middle + WINSOR_SD * spread)
    return np.nanmean(drawn_in, axis=0), np.nanstd(drawn_in, axis=0, ddof=1)


def _drawn_to_fleet(sd: Floats, keys: tuple[str, ...], cycles: int, prior: Prior | None) -> Floats:
    """Spread pooled with what sister beds have shown, by degrees of freedom."""
    if prior is None:
        return sd
    worth = np.array([prior.worth.get(key, 0.0) if key in prior.sd else 0.0 for key in keys])
    fleet = np.array([prior.sd.get(key, 0.0) for key in keys])
    own = cycles - 1
    pooled: Floats = np.sqrt((own * sd**2 + worth * fleet**2) / (own + worth))
    return pooled


def _drawn_to_promise(
    centre: Floats, sd: Floats, keys: Sequence[str], *, cycles: int, prior: Prior
) -> Floats:
    """Centre pooled with what the pulse test promised, by the number of cycles that this is worth."""
    found = centre.copy()
    for i, key in enumerate(keys):
        if key in prior.promises:
            promise = prior.promises[key]
            worth = promise.worth_cycles(float(sd[i]), phi=prior.phi or 0.0)
            found[i] = (cycles * centre[i] + worth * promise.centre) / (cycles + worth)
    return found


def _charted_keys(readings: Sequence[Reading], settings: Settings) -> tuple[str, ...]:
    counts: dict[str, int] = {}
    for reading in readings:
        for key, estimate in reading.values.items():
            counts[key] = counts.get(key, 0) + bool(np.isfinite(estimate.value))
    enough = max(3, _MIN_SHARE * len(readings))
    ignored = set(settings.ignored)
    return tuple(
        key for key, count in counts.items() if count >= enough and not {key, metric_of(key).name} & ignored
    )


def _all_positive(readings: Sequence[Reading], key: str) -> bool:
    return all(r.values[key].value > 0 for r in readings if key in r.values)
