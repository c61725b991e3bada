"""A campaign review on paper."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from beadline.features.campaign_reviews.service import signing
from beadline.kit import drawing, looks, paper, words
from beadline.store.tables import CampaignReview

PANEL_IN, CURVE_IN = 1.32, 1.7
CURVE = ("grid", "fraction", "low", "high", "density", "baseline")


def report(review: CampaignReview, *, sheet: str, zone: ZoneInfo, demo: bool, at: datetime) -> bytes:
    """Return a review as PDF on sheets of "a4" or "letter"."""
    forecasts = review.content["forecasts"]
    data = _data(review, zone) | {
        "demo": demo,
        "printed": words.moment(at, zone),
        "trends": trends(forecasts),
        "curve": _curve(review.content.get("curve")),
    }
    return paper.pdf("campaign_reviews/report.typ", data, paper=sheet, at=at)


def _data(review: CampaignReview, zone: ZoneInfo) -> dict[str, Any]:
    content = review.content
    return {
        "id": review.id,
        "bed": content["bed"]
        | {
            "volume_l": words.number(content["bed"]["volume_l"], 3),
            "packed_on": f"{date.fromisoformat(content['bed']['packed_on']):%-d %b %Y}",
        },
        "plan": content["plan"] | {"starts": f"{review.starts_on:%-d %b %Y}"},
        "made": f"{words.moment(review.made_at, zone)} by {content['made_by']}",
        "state": review.state,
        "sentence": review.sentence,
        "proposal": review.proposal,
        "decision": review.decision,
        "reason": review.reason,
        "forecasts": [_lines(one) for one in content["forecasts"]],
        "checks": content["checks"],
        "left_out": content["left_out"],
        "rules": content["proposal"]["rules"],
        "alerts": content["alerts"],
        "sha256": signing.content_sha256(review),
        "signatures": [
            {
                "who": one.who,
                "role": one.role,
                "meaning": one.meaning,
                "at": words.moment(one.at, zone),
                "sha256": one.content_sha256,
                "broken": one.broken,
            }
            for one in signing.signatures(review)
        ],
    }


def _lines(one: dict[str, Any]) -> dict[str, Any]:
    """One metric in words, as the page says it."""
    digits = one["digits"]
    end = looks.span(one["low"][-1], one["high"][-1], digits) if one["cycles"] else "not known"
    return {
        "label": one["label"] + (f", {one['unit']}" if one["unit"] not in ("", "1") else ""),
        "basis": one["basis"] + (f"; past its {one['reached']} limit now" if one["reached"] else ""),
        "end": end,
        "alert": looks.span(one["alert"][0], one["alert"][1], digits) or "not set",
        "action": looks.span(one["action"][0], one["action"][1], digits) or "not set",
        "within_alert": _chance(one["within_alert"]),
        "within_action": _chance(one["within_action"]),
        "left_alert": _left(one, "alert"),
        "left_action": _left(one, "action"),
    }


def _left(one: dict[str, Any], which: str) -> str:
    """Cycles left until a limit, as an interval; empty where nothing is said of it."""
    if one["reached"] in ("action", which):
        return "past it now"
    interval = one["left"].get(f"{which}_high") or one["left"].get(f"{which}_low")
    if not interval or interval[0] is None:
        return ""
    low, _, high = interval
    return f"{low:.0f} {'or more' if high is None else f'to {high:.0f}'} cycles left"


def _chance(value: float | None) -> str:
    if value is None:
        return "not known"
    if value > 0.99:
        return "over 99 %"
    return "under 1 %" if value < 0.01 else f"{100 * value:.0f} %"


def trends(forecasts: list[dict[str, Any]]) -> list[str]:
    """Draw every metric so far, the band of what may come, and the limits as SVG."""
    return drawing.svgs([_panel(one) for one in forecasts], height_in=PANEL_IN)


def _panel(one: dict[str, Any]) -> drawing.Panel:
    unit = f", {one['unit']}" if one["unit"] not in ("", "1") else ""
    foreseen = bool(one["cycles"])
    return drawing.Panel(
        title=f"{one['label']}{unit}",
        x_title="cycle",
        counted=True,
        rings=drawing.Series(*one["past"]),
        lines=(drawing.Series(one["cycles"], one["median"]),) if foreseen else (),
        band=(one["cycles"], one["low"], one["high"]) if foreseen else None,
        limits=drawing.limits_of(one["alert"], one["action"]),
    )


def _curve(curve: dict[str, Any] | None) -> dict[str, Any] | None:
    """The newest curve over the baseline, drawn and said; None where there was none."""
    if curve is None:
        return None
    panels = drawing.curve_panels(**{name: curve[name] for name in CURVE}, title=curve["transition"])
    around = "; shaded: the baseline's curves" if curve["low"] else "; there is no baseline yet"
    return {
        "pictures": drawing.svgs(panels, height_in=CURVE_IN),
        "said": f"Line: {curve['transition']} in cycle {curve['cycle']}, as a share of the step and as its "
        f"slope{around}.",
    }
