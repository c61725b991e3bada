"""Limits by procedure: for which numbers of a bed they can be set, and what they must keep to."""

from __future__ import annotations

from beadline.features.transitions import service as transitions
from beadline.kit.errors import Invalid
from beadline.science import metrics
from beadline.science.drift import FixedLimits
from beadline.store.tables import Packing

OF_THE_TRANSITION = ("hetp_moments", "asymmetry", "mean_cv", "variance_cv2")
OF_THE_CYCLE = ("pressure_drop_pa",)
WHOLE = {"baseline_cycles": (8, 100), "baseline_start": (1, 10**6)}
FEWEST_CYCLES_PER_ALARM, MOST_CYCLES_PER_ALARM = 20, 10**6


def limited(packing: Packing) -> list[tuple[str, metrics.Metric]]:
    """Return the keys whose limits by procedure can be set: the official transition's, and pressure."""
    official = transitions.official(transitions.planned(packing.step_plan)).name
    known = metrics.by_name(metrics.TRANSITION) | metrics.by_name(metrics.CYCLE)
    return [(f"{official}/{name}", known[name]) for name in OF_THE_TRANSITION] + [
        (name, known[name]) for name in OF_THE_CYCLE
    ]


def check_order(limits: FixedLimits, label: str, *, where: str) -> None:
    """Refuse limits of which an outer one lies inside an inner one.

    Raises
    ------
    Invalid
        If they contradict each other.
    """
    ends = (limits.action_low, limits.alert_low, limits.alert_high, limits.action_high)
    given = [value for value in ends if value is not None]
    if given != sorted(given):
        raise Invalid(
            f"The limits of {label} contradict each other.",
            where=where,
            mend="From low to high they are: action at least, alert at least, alert at most, action at most.",
        )


def check_rates(one_false_alarm_in: float, action_one_in: float) -> None:
    """Refuse an action limit that alarms more often than the alert limit.

    Raises
    ------
    Invalid
        If it would.
    """
    if one_false_alarm_in > action_one_in:
        raise Invalid(
            "The action limit would alarm more often than the alert limit.",
            where="action_one_in",
            mend="Let its false alarms be at least as rare.",
        )
