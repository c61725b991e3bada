"""What a review stores: everything that it was based on, in the units of the screen, once and for all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from beadline.features.campaign_reviews.schemas import CHECKS, Check, Facts, Foreseen, Proposal
from beadline.features.packings import service as packings
from beadline.kit import words
from beadline.science.drift.forecast import LimitForecast
from beadline.store.tables import Packing

VERSION = 2


def content_of(
    packing: Packing, facts: Facts, checks: Sequence[Check], proposal: Proposal, *, by: str
) -> dict[str, Any]:
    """Return the content of a review; it is never changed."""
    return {
        "version": VERSION,
        "made_by": by,
        "bed": _bed(packing),
        "plan": asdict(facts.plan)
        | {
            "starts_on": facts.plan.starts_on.isoformat(),
            "first_cycle": facts.used + 1,
            "last_cycle": facts.used + facts.plan.cycles,
        },
        "forecasts": [_forecast(one) for one in facts.foreseen],
        "checks": [asdict(check) for check in checks],
        "left_out": [name for name in CHECKS if name in facts.policy.left_out],
        "proposal": {
            "decision": proposal.decision,
            "rules": [[fired.decision, fired.because] for fired in proposal.fired],
        },
        "alerts": [asdict(alert) for alert in facts.alerts],
        "condition": facts.condition,
        "curve": {"cycle": facts.curve.cycle} | facts.curve.view.chart_data() if facts.curve else None,
    }


def _bed(packing: Packing) -> dict[str, Any]:
    return {
        "column": packing.column.name,
        "asset_tag": packing.column.asset_tag,
        "packing": packing.number,
        "packed_on": packing.packed_at.date().isoformat(),
        "resin": packing.lot.resin.name,
        "lot": packing.lot.lot_number,
        "diameter_cm": packing.column.inner_diameter_mm / 10,
        "height_cm": packing.bed_height_mm / 10,
        "volume_l": float(f"{packings.bed_of(packing).bed_volume_m3 * 1e3:.6g}"),
    }


def _forecast(one: Foreseen) -> dict[str, Any]:
    found, factor = one.prospect, one.factor

    def shown(values: Sequence[float | None]) -> list[float | None]:
        return words.short(None if value is None else value * factor for value in values)

    return {
        "key": found.key,
        "label": one.label[:1].upper() + one.label[1:],
        "unit": one.unit,
        "digits": one.digits,
        "basis": found.basis,
        "past": [[cycle for cycle, _ in one.past], shown([value for _, value in one.past])],
        "cycles": list(found.cycles),
        "low": shown(found.low),
        "median": shown(found.median),
        "high": shown(found.high),
        "alert": shown(one.alert),
        "action": shown(one.action),
        "reached": one.reached,
        "within_alert": _chance(found.within_alert),
        "within_action": _chance(found.within_action),
        "left": {limit.limit: _left(limit) for limit in found.left if not _is_reached(one, limit)},
    }


def _is_reached(one: Foreseen, limit: LimitForecast) -> bool:
    return one.reached == "action" or (one.reached == "alert" and limit.limit.startswith("alert"))


def _chance(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


def _left(limit: LimitForecast) -> list[float | None]:
    return words.short((limit.low, limit.median, limit.high))


def sentence_of(facts: Facts, checks: Sequence[Check]) -> str:
    """Answer in a sentence: will it last?"""
    forecast = next((check for check in checks if check.name == "forecast"), None)
    planned = f"{facts.plan.cycles} cycle{'' if facts.plan.cycles == 1 else 's'}"
    if forecast is None:
        return f"The forecast is left out at this site; nothing is said of the {planned} planned."
    return {
        "ok": f"The bed is expected to last the {planned} planned.",
        "caution": f"The bed may not last the {planned} planned.",
        "stop": f"The bed is not expected to last the {planned} planned.",
        "not known": f"Whether the bed lasts the {planned} planned can't be foreseen.",
    }[forecast.verdict]
