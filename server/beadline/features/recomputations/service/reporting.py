"""The report of a bed: what its new results changed, before and after."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from beadline.features.recomputations.schemas import BedReport
from beadline.features.recomputations.service import comparing
from beadline.store.tables import Packing, RecomputedCycle, Transition

Pair = tuple[Transition | None, Transition]
LEADING = ("hetp_moments", "asymmetry", "variance_cv2")


@dataclass(frozen=True, slots=True)
class Standing:
    """How a bed stood: its condition, the verdict of each cycle, and each alert.

    Attributes
    ----------
    alerts : mapping
        By id: level, whether its event is over, the cycle that raised it, and its headline.
    """

    condition: str
    verdicts: Mapping[int, str]
    alerts: Mapping[int, tuple[str, bool, int, str]]


def of(packing: Packing, content: Mapping[str, Any]) -> BedReport:
    """Return the report of a bed with the bed's name."""
    return BedReport(
        packing_id=packing.id,
        asset_tag=packing.column.asset_tag,
        bed_name=f"{packing.column.name}, packing {packing.number}",
        content=content,
    )


def report(
    pairs: Sequence[Pair],
    outcomes: Sequence[RecomputedCycle],
    before: Standing,
    after: Standing,
    *,
    cycles: Mapping[int, int],
) -> dict[str, Any]:
    """Return what changed, in stored units.

    Parameters
    ----------
    cycles : mapping
        Number of each cycle that counts, by its id.
    """
    came = Counter(one.outcome for one in outcomes)
    skipped = [
        {"cycle": cycles[one.cycle_id], "why": one.why}
        for one in outcomes
        if one.why and one.cycle_id in cycles
    ]
    return {
        "cycles": came["new"] + came["unchanged"],
        "transitions": len(pairs),
        "changed": sum(comparing.changed(old, new) for old, new in pairs),
        "usable": [
            {"cycle": cycles[new.cycle_id], "transition": new.name, "now": new.usable}
            for old, new in pairs
            if old is not None and old.usable != new.usable
        ],
        "before": dict(Counter(_method(old) for old, _ in pairs if old is not None)),
        "after": dict(Counter(_method(new) for _, new in pairs)),
        "largest": [one for name in LEADING if (one := _largest(pairs, name, cycles))],
        "condition": [before.condition, after.condition],
        "verdicts": [
            {"cycle": number, "before": before.verdicts.get(number, ""), "after": verdict}
            for number, verdict in after.verdicts.items()
            if before.verdicts.get(number) != verdict
        ],
        "alerts": list(_alerts(before, after)),
        "skipped": sorted(skipped, key=lambda one: one["cycle"]),
    }


def _method(row: Transition) -> str:
    return f"{row.method} {row.method_version}".strip()


def _largest(pairs: Sequence[Pair], name: str, cycles: Mapping[int, int]) -> dict[str, Any] | None:
    """Return the largest move of a number, in units of its uncertainty, and where it was."""
    found = [
        (abs(change), new, old.estimates[name], new.estimates[name], change)
        for old, new in pairs
        if old is not None and old.usable and new.usable and name in old.estimates and name in new.estimates
        if (change := comparing.in_u(old.estimates[name], new.estimates[name])) is not None
        if comparing.moved(old.estimates[name], new.estimates[name])
    ]
    if not found:
        return None
    _, row, before, after, change = max(found, key=lambda one: one[0])
    return {
        "metric": name,
        "transition": row.name,
        "cycle": cycles[row.cycle_id],
        "before": before,
        "after": after,
        "in_u": round(change, 4),
    }


def _alerts(before: Standing, after: Standing) -> Iterator[dict[str, Any]]:
    for alert_id, (level, over, cycle, headline) in after.alerts.items():
        known = before.alerts.get(alert_id)
        if known is None:
            what = f"raised, at the {level} limit"
        elif known[0] != level:
            what = f"reached the {level} limit"
        elif known[1] != over:
            what = "returned to normal" if over else "stands again"
        else:
            continue
        yield {"alert": alert_id, "cycle": cycle, "level": level, "what": what, "headline": headline}
