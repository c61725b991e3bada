"""What is shown of an alert: which are open, and its evidence in the units of the screen."""

from __future__ import annotations

from dataclasses import dataclass

from beadline.kit.looks import Kind

OPEN = ("raised", "acknowledged", "shelved")
STATUSES = {"open": OPEN, "closed": ("closed",), "all": (*OPEN, "closed")}


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceLine:
    """One metric that moved.

    Attributes
    ----------
    key : str
        Stored name: the transition's, then the metric's.
    label, unit : str
        As on screen.
    baseline, now, change : str
        Centre of the baseline, moving average at the alert's latest cycle, and the way from one to the
        other (in per cent for metrics charted by their logarithm); empty where there is none.
    shift_sd : float
        Shift since the change began [baseline standard deviations], which is what raised the alert.
    kind : Kind
        Which limit the metric is past at the alert's latest cycle.
    """

    key: str
    label: str
    unit: str
    baseline: str
    now: str
    change: str
    shift_sd: float
    kind: Kind
