"""Which numbers a record can't give, and why."""

from __future__ import annotations

import numpy as np

from beadline.science import metrics
from beadline.science.estimates import Estimate

_NEEDS_END = (
    "hetp_moments",
    "mean_cv",
    "variance_cv2",
    "skewness",
    "excess_kurtosis",
    "late_tail",
    "v95_cv",
)
_NEEDS_START = (
    "hetp_moments",
    "mean_cv",
    "variance_cv2",
    "skewness",
    "excess_kurtosis",
    "early_foot",
    "v05_cv",
)
_RATIOS = ("hetp_moments", "hetp_width", "asymmetry", "variance_cv2")
_MOST_U, _MOST_U_COARSE = 0.5, 0.15  # uncertainty of a ratio, as a share of it, above which it says nothing
_MOST_U_SHAPE = 3.0
_SHAPE = ("skewness", "excess_kurtosis")
_NEEDS_TRACER = ("hetp_moments", "hetp_width")


def reasons(codes: set[str], numbers: dict[str, Estimate], *, compared: bool) -> dict[str, str]:
    """Metric name to the reason why there is no value; metrics that have one aren't named."""
    withheld = {}
    most = _MOST_U_COARSE if "few_points" in codes else _MOST_U
    for metric in metrics.TRANSITION:
        name, number = metric.name, numbers.get(metric.name)
        if codes & {"retained", "self_sharpening"} and name in _NEEDS_TRACER:
            withheld[name] = "The step isn't a residence-time test of the bed."
        elif "plateau_not_reached" in codes and name in _NEEDS_END:
            withheld[name] = "The record ends before the plateau."
        elif "plateau_before_missing" in codes and name in _NEEDS_START:
            withheld[name] = "The record begins after the front has."
        elif name == "difference_from_reference" and not compared:
            withheld[name] = "There is no reference curve yet."
        elif number is None or not (np.isfinite(number.value) and np.isfinite(number.u)):
            withheld[name] = "The curve doesn't show it."
        elif _undetermined(name, number, most) or (name in _SHAPE and "variance_cv2" in withheld):
            withheld[name] = "Noise or sampling leaves it undetermined."
    return withheld


def _undetermined(name: str, number: Estimate, most: float) -> bool:
    if name in _RATIOS:
        return number.u > most * abs(number.value)
    return name in _SHAPE and number.u > _MOST_U_SHAPE
