"""How each number of a transition comes about, in words, with its source."""

from __future__ import annotations

from dataclasses import dataclass

_LEVENSPIEL = "Levenspiel, Chemical Reaction Engineering, 3rd ed., chapter 13"
_WIDTH = "Levenspiel, Chemical Reaction Engineering, 3rd ed., Example 13.2, for the 16 and 84 % points"
_COMMON = "common practice, no source"
_OURS = "own definition"


@dataclass(frozen=True, slots=True)
class Formula:
    """A formula in words and symbols, and where it is from.

    Attributes
    ----------
    formula : str
        F is the fraction of the step, V the volume since the switch [CV], f = dF/dV, L the bed height,
        M1 the mean and M2 the variance.
    source : str
        Where it is published; "common practice, no source" or "own definition" where it is not.
    """

    formula: str
    source: str


FORMULAS: dict[str, Formula] = {
    "hetp_moments": Formula("H = L · M2 / M1²", _LEVENSPIEL),
    "hetp_width": Formula(
        "H = L · (s / V50)², s half the distance from V at F = 0.159 to V at F = 0.841", _WIDTH
    ),
    "asymmetry": Formula("A = b / a, back and front of f at 10 % of its height, from the apex", _COMMON),
    "mean_cv": Formula("M1 = ∫ V dF = ∫ (1 − F) dV", _LEVENSPIEL),
    "variance_cv2": Formula("M2 = ∫ (V − M1)² dF", _LEVENSPIEL),
    "skewness": Formula("∫ (V − M1)³ dF / M2^1.5", "textbook definition"),
    "excess_kurtosis": Formula("∫ (V − M1)⁴ dF / M2² − 3", "textbook definition"),
    "v05_cv": Formula("V at F = 0.05", _COMMON),
    "v10_cv": Formula("V at F = 0.10", _COMMON),
    "v50_cv": Formula("V at F = 0.50", _COMMON),
    "v90_cv": Formula("V at F = 0.90", _COMMON),
    "v95_cv": Formula("V at F = 0.95", _COMMON),
    "width_10_90_cv": Formula("V at F = 0.90 less V at F = 0.10", _COMMON),
    "steepest_slope_per_cv": Formula("the greatest f", _COMMON),
    "early_foot": Formula("area under F more than 2.5 s ahead of V50, in s", _OURS),
    "late_tail": Formula("area over F more than 2.5 s behind V50, in s", _OURS),
    "difference_from_reference": Formula("∫ |F − F reference| dV", _OURS),
    "step_height": Formula("plateau after less plateau before, at the middle of the front", _COMMON),
    "plateau_before": Formula("the fitted line ahead of the front, at its middle", _COMMON),
    "plateau_after": Formula("the fitted line behind the front, at its middle", _COMMON),
    "noise": Formula("standard deviation of the points about the fitted curve, over the step", _COMMON),
}
