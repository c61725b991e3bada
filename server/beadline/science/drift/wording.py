"""A change of a bed in one short sentence, for lists and messages."""

from __future__ import annotations

import math

from beadline.science.drift.baseline import Baseline
from beadline.science.drift.judgement import AlertEvidence
from beadline.science.drift.reading import metric_of

WORTH_SAYING_SD = 3.0
MOST = 3
# What people at the skid know by name, in the order in which it is said: how its rise and fall are called.
PLAIN = {
    "hetp_moments": ("HETP up {}", "HETP down {}"),
    "early_foot": ("an early foot on the curve", ""),
    "late_tail": ("a longer tail on the curve", ""),
    "asymmetry": ("asymmetry up {}", "asymmetry down {}"),
    "mean_cv": ("breakthrough later by {}", "breakthrough earlier by {}"),
    "pressure_drop_pa": ("pressure drop up {}", "pressure drop down {}"),
    "width_10_90_cv": ("front wider by {}", "front sharper by {}"),
    "skewness": ("front skewed late", "front skewed early"),
}


def in_short(evidence: AlertEvidence, baseline: Baseline | None, *, official: str) -> str:
    """Say when a bed changed and what moved most, by the names that people at the skid use.

    Parameters
    ----------
    evidence : AlertEvidence
        The event.
    baseline : Baseline or None
        Turns standard deviations into per cent; None while it is learnt.
    official : str
        The transition whose numbers are said.

    Returns
    -------
    str
        One sentence.
    """
    if baseline is None or evidence.kind in ("limit", "start"):
        return evidence.sentence
    said = [words for name in PLAIN if (words := _moved(name, evidence, baseline, official))]
    when = f"about cycle {evidence.since}"
    opening = f"Changed suddenly at {when}" if evidence.kind == "step" else f"Changing since {when}"
    return f"{opening}: {', '.join(said[:MOST])}." if said else f"{opening}: the shape of the curve."


def _moved(name: str, evidence: AlertEvidence, baseline: Baseline, official: str) -> str:
    key = next((k for k in (f"{official}/{name}", name) if k in evidence.sizes), "")
    if not key or abs(evidence.sizes[key]) < WORTH_SAYING_SD:
        return ""
    words = PLAIN[metric_of(key).name][0 if evidence.sizes[key] > 0 else 1]
    return words.format(_share(key, evidence.sizes[key], baseline))


def _share(key: str, size_sd: float, baseline: Baseline) -> str:
    place = baseline.keys.index(key)
    moved = size_sd * float(baseline.sd[place])
    share = math.expm1(min(moved, 5.0)) if baseline.log[place] else moved / abs(float(baseline.centre[place]))
    percent = abs(100 * share)
    return f"{percent:.0f} %" if percent >= 1 else f"{percent:.1f} %"
