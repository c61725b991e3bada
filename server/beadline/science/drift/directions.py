"""The series that are judged: joined directions in which beds fail, single bed metrics, instruments.

A direction weighs the metrics as a physical fault moves them and averages over the transitions, so that
faults of a whole bed stand out of the noise of single traces. What a late start mark would do to the same
metrics is known from arithmetic, and is taken out of every weight: the bed's series are blind to it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from beadline.science.drift.baseline import Baseline
from beadline.science.drift.reading import label_of, metric_of, transition_of
from beadline.science.drift.settings import Settings

Floats = NDArray[np.float64]
Role = Literal["joined", "metric", "position", "instrument"]
Side = Literal["up", "both"]

# Signs and weights: how a fault moves each metric (findings of simulation and common practice, no source).
DIRECTIONS: Mapping[str, Mapping[str, float]] = {
    "wider front": {
        "hetp_moments": 1.0,
        "hetp_width": 1.0,
        "variance_cv2": 1.0,
        "width_10_90_cv": 1.0,
        "steepest_slope_per_cv": -1.0,
    },
    "early flow": {
        "early_foot": 1.5,
        "curve_early": 1.0,
        "asymmetry": -0.4,
        "skewness": -0.4,
        "difference_from_reference": 0.3,
    },
    "late tail": {
        "late_tail": 1.5,
        "curve_late": 1.0,
        "asymmetry": 0.7,
        "skewness": 0.5,
        "excess_kurtosis": 0.3,
    },
    "another shape of curve": {"curve_scores": 1.0, "curve_residual": 1.0},
    "harder to flow through": {"pressure_drop_pa": 1.0, "hetp_moments": 0.3},
}
POSITION_METRICS = frozenset({"mean_cv", "v05_cv", "v10_cv", "v50_cv", "v90_cv", "v95_cv"})
_SHARES = {"joined": 0.8, "metric": 0.2}


@dataclass(frozen=True)
class Series:
    """One series under watch.

    Attributes
    ----------
    name : str
        Name of the direction, or the key.
    role : {"joined", "metric", "position", "instrument"}
        What a change of it may say.
    side : {"up", "both"}
        Which way counts.
    share : float
        Part of its budget of false alarms that falls to it.
    """

    name: str
    role: Role
    side: Side
    share: float

    @property
    def label(self) -> str:
        """What to call it in a sentence."""
        return self.name if self.role == "joined" else label_of(self.name)


@dataclass(frozen=True)
class Plan:
    """All series of a bed and the weights [keys, series] that make them from standardised values."""

    series: tuple[Series, ...]
    weights: Floats

    def combine(self, z: Floats) -> Floats:
        """Series values of some cycles; the rest of a direction stands for missing keys, if half is left."""
        present = ~np.isnan(z)
        values: Floats = (np.where(present, z, 0.0)[:, None] @ self.weights)[:, 0]
        some = ~present.all(1)
        if some.any():
            weight = np.abs(self.weights)
            kept = (present[some, None] @ weight)[:, 0] / weight.sum(0)
            values[some] = np.where(kept >= 0.5, values[some] / np.maximum(kept, 0.5), np.nan)
        return values


def plan(baseline: Baseline, z: Floats, settings: Settings) -> Plan:
    """Choose the series and their parts of the budget from what the bed measures.

    Parameters
    ----------
    baseline : Baseline
        Centre and spread of every key.
    z : array
        Standardised values of the baseline cycles [cycles, keys].
    settings : Settings
        Names the instruments' metrics.
    """
    keys = baseline.keys
    blind = _basis(late_mark_vectors(baseline))
    columns: list[tuple[Series, Floats]] = []
    bed = [i for i, key in enumerate(keys) if role_of(key, settings) == "metric"]
    joined = [(name, w) for name in DIRECTIONS if (w := _direction(name, keys, settings)) is not None]
    joined = joined if len(bed) > 1 else []
    for name, weights in joined:
        columns.append((Series(name, "joined", "up", _SHARES["joined"]), _project(weights, blind)))
    rest = _SHARES["metric"] if joined else 1.0
    for i, key in enumerate(keys):
        role, side = role_of(key, settings), metric_of(key).side
        unit = np.eye(len(keys))[i]
        share = rest if role == "metric" else 1.0
        columns.append((Series(key, role, side, share), _project(unit, blind) if role == "metric" else unit))
    return _shared(columns, z)


def role_of(key: str, settings: Settings) -> Role:
    """Whether a key speaks of the bed, of where the front stands, or of the instruments."""
    name = metric_of(key).name
    if name in settings.instruments:
        return "instrument"
    return "position" if name in POSITION_METRICS else "metric"


def effective_number(z: Floats) -> float:
    """How many independent series a set of correlated ones is worth.

    References
    ----------
    Nyholt, D. R. (2004), American Journal of Human Genetics 74, 765-769 (from memory); the chance part of the
    squared correlations, 1/(m-1), is taken off.

    Examples
    --------
    >>> same = np.random.default_rng(1).standard_normal((20, 1))
    >>> round(effective_number(np.hstack([same, same, same])), 6)
    1.0
    """
    count = z.shape[1]
    if count < 2 or len(z) < 3:
        return float(count)
    filled = np.where(np.isnan(z), 0.0, z)
    spread = filled.std(0)
    unit = (filled - filled.mean(0)) / np.where(spread > 0, spread, 1.0)
    squared = (unit.T @ unit / len(z)) ** 2
    mean_square = (squared.sum() - np.trace(squared)) / (count * (count - 1))
    chance = 1 / (len(z) - 1)
    return float(1 + (count - 1) * (1 - np.clip((mean_square - chance) / (1 - chance), 0.0, 1.0)))


def late_mark_vectors(baseline: Baseline) -> Floats:
    """What a late start mark does to the standardised values [transitions, keys].

    Notes
    -----
    A mark that is late by d shifts every position by -d and leaves widths alone; HETP, which divides by the
    square of the mean, grows by 2 d / mean.
    """
    transitions = sorted({transition_of(key) for key in baseline.keys} - {""})
    found = np.zeros((len(transitions), len(baseline.keys)))
    for row, transition in zip(found, transitions, strict=True):
        mean = _mean_position(baseline, transition)
        for i, key in enumerate(baseline.keys):
            name = metric_of(key).name
            if transition_of(key) != transition:
                continue
            if name in POSITION_METRICS:
                row[i] = 1 / baseline.sd[i]
            elif name in ("hetp_moments", "hetp_width") and baseline.log[i]:
                row[i] = -2 / mean / baseline.sd[i]
    return found


def _mean_position(baseline: Baseline, transition: str) -> float:
    for name in ("mean_cv", "v50_cv"):
        key = f"{transition}/{name}"
        if key in baseline.keys:
            return max(float(baseline.centre[baseline.keys.index(key)]), 0.05)
    return 1.0


def _direction(name: str, keys: Sequence[str], settings: Settings) -> Floats | None:
    """Weights of one direction on the keys there are; None where it would rest on a single key or on none."""
    signs = DIRECTIONS[name]
    metrics = [metric_of(key).name for key in keys]
    use = [
        role_of(key, settings) != "instrument" and metric in signs
        for key, metric in zip(keys, metrics, strict=True)
    ]
    w = np.array([signs[m] / metrics.count(m) if used else 0.0 for m, used in zip(metrics, use, strict=True)])
    leading = {metric for metric, weight in signs.items() if abs(weight) >= 1.0}
    if not leading.intersection(metrics) or np.count_nonzero(w) < 2:
        return None
    return w / float(np.sqrt((w**2).sum()))


def _basis(vectors: Floats) -> Floats:
    """Unit vectors that span what nuisances do [ways, keys]."""
    use: Floats = vectors[np.abs(vectors).sum(1) > 0]
    if len(use) == 0:
        return use
    found = np.linalg.svd(use, full_matrices=False)
    basis: Floats = np.array(found.Vh[1e-9 * found.S[0] < found.S], float)
    return basis


def _project(weights: Floats, blind: Floats) -> Floats:
    """Take out of the weights what nuisances move, where enough of the direction is left."""
    left = weights - blind.T @ (blind @ weights)
    size = float(np.linalg.norm(left))
    return left / size if size > 0.5 * float(np.linalg.norm(weights)) else weights


def _shared(columns: list[tuple[Series, Floats]], z: Floats) -> Plan:
    """Divide each group's budget by the number of independent series it is worth."""
    # Row by row, as they are read back from storage: products in another order differ in the last digit.
    weights = np.ascontiguousarray(np.array([w for _, w in columns]).T.reshape(z.shape[1], len(columns)))
    y = np.where(np.isnan(z), 0.0, z) @ weights
    roles = np.array([s.role for s, _ in columns])
    worth = {role: effective_number(y[:, roles == role]) for role in set(roles.tolist())}
    series = tuple(Series(s.name, s.role, s.side, s.share / max(worth[s.role], 1.0)) for s, _ in columns)
    return Plan(series, weights)
