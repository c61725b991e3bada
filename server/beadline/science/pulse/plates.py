"""Plate numbers and peak shape from the readings, each by its published formula."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from beadline.science.estimates import Estimate
from beadline.science.pulse.measured import Measured, Values

HALF_WIDTH_SQUARED = 8 * math.log(2)  # of a Gaussian, over its variance
FRONT_BACK = ("front", "back")


@dataclass(frozen=True, slots=True)
class Bed:
    """What the readings are related to: bed volume [m3], bed height [m], bead diameter [m]."""

    bed_volume_m3: float
    bed_height_m: float
    bead_diameter_m: float


@dataclass(frozen=True, slots=True)
class Formula:
    """A metric: the readings that it needs, and the rule.

    Attributes
    ----------
    needs : tuple of str
        Names of the readings.
    rule : callable
        From readings to value. ``delay`` [m3] and ``extra`` [m6] are taken off mean and variance.
    """

    needs: tuple[str, ...]
    rule: Callable[[Values], float]


def half_height(q: Values, constant: float = 5.54) -> float:
    """Plates from the width at half height, N = 5.54 (V_R/w)^2.

    References
    ----------
    USP <621> and Ph. Eur. 2.2.46 (harmonised text), plate number.

    Examples
    --------
    >>> peak = {"apex": 9.5, "half_front": 9.4, "half_back": 9.65, "delay": 0.0, "extra": 0.0}
    >>> round(half_height(peak), 2)
    7999.76
    """
    width_squared = (q["half_back"] - q["half_front"]) ** 2 - HALF_WIDTH_SQUARED * q["extra"]
    return constant * (q["apex"] - q["delay"]) ** 2 / width_squared


def tangents(q: Values) -> float:
    """Plates from the width between the feet of the inflection tangents, N = 16 (V_R/w)^2.

    Examples
    --------
    >>> tangents({"apex": 30.0, "foot_front": 28.0, "foot_back": 32.0, "delay": 0.0, "extra": 0.0})
    900.0
    """
    width_squared = (q["foot_back"] - q["foot_front"]) ** 2 - 16 * q["extra"]
    return 16 * (q["apex"] - q["delay"]) ** 2 / width_squared


def from_moments(q: Values) -> float:
    """Plates from mean and variance, N = M1^2/M2.

    References
    ----------
    Levenspiel, Chemical Reaction Engineering, 3rd ed., chapter 13.

    Examples
    --------
    >>> from_moments({"mean": 1060.0, "variance": 840.0, "delay": 60.0, "extra": 240.0}) > 1666.6
    True
    """
    return (q["mean"] - q["delay"]) ** 2 / (q["variance"] - q["extra"])


def foley_dorsey(q: Values) -> float:
    """Plates from width and asymmetry at 10 %, N = 41.7 (V_R/w)^2/(B/A + 1.25).

    Notes
    -----
    For a fronting peak A/B stands for B/A. Within 1.5 % of an exponentially modified Gaussian for an
    asymmetry of 1.0 to 2.8; on an exact Gaussian 0.6 % high.

    References
    ----------
    Foley and Dorsey, Anal. Chem. 55 (1983) 730 (formula from memory, accuracy recomputed).

    Examples
    --------
    >>> q = {"apex": 30.0, "tenth_front": 27.85, "tenth_back": 32.15, "delay": 0.0, "extra": 0.0}
    >>> round(foley_dorsey(q))
    902
    """
    front, back = q["apex"] - q["tenth_front"], q["tenth_back"] - q["apex"]
    ratio = max(back / front, front / back)
    variance = (front + back) ** 2 * (ratio + 1.25) / 41.7
    return (q["apex"] - q["delay"]) ** 2 / (variance - q["extra"])


def fitted(q: Values) -> float:
    """Plates from a fitted exponentially modified Gaussian: (mu + tau)^2/(sigma^2 + tau^2).

    Examples
    --------
    >>> fitted({"mu": 28.0, "sigma": 1.0, "tau": 2.0, "delay": 0.0, "extra": 0.0})
    180.0
    """
    return (q["mu"] + q["tau"] - q["delay"]) ** 2 / (q["sigma"] ** 2 + q["tau"] ** 2 - q["extra"])


def asymmetry(q: Values) -> float:
    """Back over front half width, b/a, at the chosen level (10 % by default).

    Examples
    --------
    >>> asymmetry({"apex": 0.0, "asymmetry_front": -5.0, "asymmetry_back": 6.0})
    1.2
    """
    return (q["asymmetry_back"] - q["apex"]) / (q["apex"] - q["asymmetry_front"])


def tailing_factor(q: Values) -> float:
    """Width over twice the front half width at the chosen level (5 % by default).

    References
    ----------
    USP <621> and Ph. Eur. 2.2.46, symmetry factor.

    Examples
    --------
    >>> round(tailing_factor({"apex": 0.0, "tailing_front": -0.12, "tailing_back": 0.15}), 9)
    1.125
    """
    return (q["tailing_back"] - q["tailing_front"]) / (2 * (q["apex"] - q["tailing_front"]))


def formulas(bed: Bed, constant: float) -> dict[str, Formula]:
    """All metrics of a pulse test by stored name."""
    width = ("apex", "half_front", "half_back")
    sums = ("mean", "variance")

    def n_half(q: Values) -> float:
        return half_height(q, constant)

    height = bed.bed_height_m
    return {
        "plates_half_height": Formula(width, n_half),
        "plates_tangent": Formula(("apex", "foot_front", "foot_back"), tangents),
        "plates_moments": Formula(sums, from_moments),
        "plates_foley_dorsey": Formula(("apex", "tenth_front", "tenth_back"), foley_dorsey),
        "plates_emg": Formula(("mu", "sigma", "tau"), fitted),
        "hetp_half_height": Formula(width, lambda q: height / n_half(q)),
        "hetp_moments": Formula(sums, lambda q: height / from_moments(q)),
        "plates_per_metre": Formula(width, lambda q: n_half(q) / height),
        "reduced_plate_height": Formula(width, lambda q: height / n_half(q) / bed.bead_diameter_m),
        "asymmetry": Formula(("apex", "asymmetry_front", "asymmetry_back"), asymmetry),
        "tailing_factor": Formula(("apex", "tailing_front", "tailing_back"), tailing_factor),
        "retention_cv": Formula(("apex",), lambda q: (q["apex"] - q["delay"]) / bed.bed_volume_m3),
        "porosity": Formula(("mean",), lambda q: (q["mean"] - q["delay"]) / bed.bed_volume_m3),
    }


def evaluate(
    read: Measured, rules: Mapping[str, Formula], *, delay: Estimate, extra: Estimate
) -> dict[str, Estimate]:
    """Apply the formulas whose readings are there and whose variance stays above zero.

    Parameters
    ----------
    read : Measured
        The readings.
    rules : mapping of str to Formula
        By stored metric name.
    delay, extra : Estimate
        Mean [m3] and variance [m6] that don't belong to the bed.
    """
    known = read.joined({"delay": delay, "extra": extra})
    found: dict[str, Estimate] = {}
    for name, formula in rules.items():
        if known.has(*formula.needs):
            try:
                estimate = known.derive(formula.rule)
            except ZeroDivisionError:  # all of the mean or of the variance was taken off
                continue
            if np.isfinite(estimate.value) and np.isfinite(estimate.u) and estimate.value > 0:
                found[name] = estimate
    return found
