"""A campaign review on paper."""

from __future__ import annotations

from datetime import date, datetime
from io import StringIO
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from beadline.features.campaign_reviews.service import signing
from beadline.kit import looks, paper, words
from beadline.store.tables import CampaignReview

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INK, QUIET, DATA, PALE = "#14222a", "#4b5b62", "#14636c", "#bcd8d8"
WIDTH_IN, PANEL_IN = 6.7, 1.32


def report(review: CampaignReview, *, sheet: str, zone: ZoneInfo, demo: bool, at: datetime) -> bytes:
    """Return a review as PDF on sheets of "a4" or "letter"."""
    forecasts = review.content["forecasts"]
    data = _data(review, zone) | {
        "demo": demo,
        "printed": words.moment(at, zone),
        "trends": trends(forecasts) if forecasts else "",
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
    }


def _chance(value: float | None) -> str:
    if value is None:
        return "not known"
    if value > 0.99:
        return "over 99 %"
    return "under 1 %" if value < 0.01 else f"{100 * value:.0f} %"


def trends(forecasts: list[dict[str, Any]]) -> str:
    """Draw every metric so far, the band of what may come, and the limits as SVG; ink and one colour."""
    import matplotlib as mpl  # here, since it would slow every start
    from matplotlib.figure import Figure

    with mpl.rc_context({"svg.hashsalt": "beadline", "font.size": 7.5, "text.parse_math": False}):
        figure = Figure(figsize=(WIDTH_IN, PANEL_IN * len(forecasts) + 0.3), layout="constrained")
        rows = figure.subplots(len(forecasts), 1, sharex=True, squeeze=False)[:, 0]
        for axes, one in zip(rows, forecasts, strict=True):
            _panel(axes, one)
        rows[-1].set_xlabel("cycle", color=QUIET)
        written = StringIO()
        figure.savefig(written, format="svg", metadata={"Date": None})
    return written.getvalue()


def _panel(axes: Axes, one: dict[str, Any]) -> None:
    unit = f", {one['unit']}" if one["unit"] not in ("", "1") else ""
    axes.set_title(f"{one['label']}{unit}", loc="left", fontsize=8, fontweight="bold")
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(colors=QUIET, width=0.6)
    axes.plot(*one["past"], "o", ms=2.4, mfc="white", mec=DATA, mew=0.7)
    if one["cycles"]:
        axes.fill_between(one["cycles"], one["low"], one["high"], color=PALE, lw=0)
        axes.plot(one["cycles"], one["median"], color=INK, lw=0.9)
    for which, dash in (("alert", (0, (4, 2))), ("action", "solid")):
        for limit, above in zip(one[which], (which == "alert", which == "action"), strict=True):
            if limit is not None:
                axes.axhline(limit, color=INK, lw=0.7, ls=dash)
                axes.annotate(
                    which,
                    (1.01, limit),
                    xycoords=("axes fraction", "data"),
                    xytext=(0, 1.5 if above else -1.5),
                    textcoords="offset points",
                    va="bottom" if above else "top",
                    fontsize=6.5,
                )
