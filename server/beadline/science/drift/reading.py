"""What the charts are fed: one reading a cycle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from beadline.science import metrics
from beadline.science.estimates import Estimate

# What the look at whole curves adds to the registered metrics.
CURVE_METRICS = (
    metrics.Metric("curve_scores", "Curve shape, usual ways of varying", side="up", scale="log"),
    metrics.Metric("curve_residual", "Curve shape, unusual ways", side="up", scale="log"),
    metrics.Metric("curve_early", "Early part of the curve"),
    metrics.Metric("curve_late", "Late part of the curve"),
)
_METRICS = metrics.by_name(metrics.TRANSITION + metrics.CYCLE + CURVE_METRICS)


@dataclass(frozen=True)
class Reading:
    """The results of one production cycle.

    Attributes
    ----------
    cycle : int
        Number of the cycle within the packing, from 1.
    values : mapping of str to Estimate
        By key: ``"transition name/metric"``, or the metric alone for values of the whole cycle.
    curves : mapping of str to array
        Normalised curve of each transition on one fixed grid [fraction].
    usable : bool
        False leaves a gap in every chart.
    excluded : bool
        True when a person took the cycle out of the statistics, with a reason kept elsewhere.

    Examples
    --------
    >>> Reading(cycle=1, values={"wash/asymmetry": Estimate(1.1, 0.02)}).counts
    True
    """

    cycle: int
    values: Mapping[str, Estimate]
    curves: Mapping[str, NDArray[np.float64]] = field(default_factory=dict)
    usable: bool = True
    excluded: bool = False

    @property
    def counts(self) -> bool:
        """Whether the cycle enters the statistics."""
        return self.usable and not self.excluded and bool(self.values)


@lru_cache(maxsize=4096)
def metric_of(key: str) -> metrics.Metric:
    """Find the registered metric a key speaks of; an unknown one is taken as linear and two-sided.

    Examples
    --------
    >>> metric_of("wash/hetp_moments").scale
    'log'
    """
    name = key.rsplit("/", 1)[-1]
    return _METRICS.get(name) or metrics.Metric(name, name.replace("_", " "))


def transition_of(key: str) -> str:
    """Name of the transition in a key; empty for a value of the whole cycle.

    Examples
    --------
    >>> transition_of("wash/hetp_moments"), transition_of("flow_m3_s")
    ('wash', '')
    """
    return key.rpartition("/")[0]


def label_of(key: str) -> str:
    """What to call a key in a sentence.

    Examples
    --------
    >>> label_of("wash/early_foot")
    'early foot (wash)'
    """
    label, transition = metric_of(key).label, transition_of(key)
    label = label if label[:2].isupper() else label[:1].lower() + label[1:]
    return f"{label} ({transition})" if transition else label
