"""The limits of a bed's numbers: those that its baseline gives, and those that the site's procedure sets."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from beadline.science.drift.reading import metric_of
from beadline.store.tables import BedState

Limits = tuple[float | None, float | None]


def limits_of(standing: BedState | None, key: str, which: str) -> Limits:
    """Return the "alert" or "action" limits of a key, low and high, as stored; the procedure's go first."""
    fixed, usual = limits_by_procedure(standing, key, which), limits_from_baseline(standing, key, which)
    return (usual[0] if fixed[0] is None else fixed[0]), (usual[1] if fixed[1] is None else fixed[1])


def limits_from_baseline(standing: BedState | None, key: str, which: str) -> Limits:
    """Return the limits that the baseline gives; none below where a bed only gets worse upwards."""
    found = standing.limits.get(key, {}).get(which) if standing else None
    low, high = found or (None, None)
    return (None if metric_of(key).side == "up" else low), high


def limits_by_procedure(standing: BedState | None, key: str, which: str) -> Limits:
    """Return the limits that the site's procedure sets."""
    settings: Mapping[str, Any] = standing.state.get("settings", {}) if standing else {}
    fixed = settings.get("fixed_limits", {}).get(key, {})
    return fixed.get(f"{which}_low"), fixed.get(f"{which}_high")
