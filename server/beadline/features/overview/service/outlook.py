"""Cycles left until each limit, in words: a card on Column, a cell on Columns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from beadline.features.overview.schemas import CyclesLeft, OutlookLine, OutlookView
from beadline.features.overview.service.story import Story
from beadline.features.transitions.schemas import unit_of
from beadline.kit import words
from beadline.science.drift.reading import metric_of

Stored = Mapping[str, Any]
LEVELS = ("alert", "action")
SHORT = {
    "hetp_moments": "HETP",
    "asymmetry": "asymmetry",
    "variance_cv2": "variance",
    "mean_cv": "mean breakthrough",
    "pressure_drop_pa": "pressure",
}
NOTE = (
    "80 % interval: of ten such forecasts about eight hold. It takes the bed to be run on as it was; "
    "a sudden change can't be foreseen. Decision support only: when a bed is repacked, and whether product "
    "is released, is decided by site procedure and qualified people."
)


def outlook_view(story: Story) -> OutlookView | None:
    """Return the card of a bed that is in use; None without any cycle or after unpacking."""
    if story.standing is None or not story.cycles or story.packing.unpacked_at is not None:
        return None
    stored: Sequence[Stored] = story.standing.latest.get("outlook", [])
    if not story.baseline or not stored:
        return OutlookView("Too few cycles: the baseline is still being learnt.", (), "")
    lines = tuple(_line(story, one) for one in stored)
    return OutlookView(" ".join(_sentences(stored)), lines, NOTE)


def cycles_left(latest: Mapping[str, Any]) -> CyclesLeft | None:
    """Return what the cell of a bed says: of the limit that is reached soonest; None without steady trend."""
    stored: Sequence[Stored] = latest.get("outlook", [])
    past = [one for one in stored if _is_past(one, "action")]
    if past:
        return CyclesLeft("past limit", f"{_name(past[0])}, action", 0.0)
    found = _soonest(stored)
    if found is None:
        return None
    one, limit = found
    return CyclesLeft(_interval(limit, one["horizon"]), f"{_name(one)}, {_level(limit)}", _order(found))


def _line(story: Story, one: Stored) -> OutlookLine:
    metric = metric_of(one["key"])
    cells = tuple(_cell(one, level) for level in LEVELS)
    limits = tuple(_limit_text(story, one, level) for level in LEVELS)
    return OutlookLine(metric.label, unit_of(metric, story.quantity_of(one["key"])), cells, limits)


def _limit_text(story: Story, one: Stored, level: str) -> str:
    metric = metric_of(one["key"])
    low, high = (None if v is None else metric.shown(v) for v in story.limits(one["key"], level))
    ends = (low, high) if one["trend"] != "steady trend" else (None, high) if one["rising"] else (low, None)
    return " to ".join(words.number(end, metric.digits) for end in ends if end is not None)


def _cell(one: Stored, level: str) -> str:
    if _is_past(one, level):
        return "past it now"
    if one["trend"] != "steady trend":
        return str(one["trend"])
    ahead = [limit for limit in one["left"] if _level(limit) == level]
    return _interval(ahead[0], one["horizon"]) if ahead else "moves away from it"


def _sentences(stored: Sequence[Stored]) -> list[str]:
    said = _all_past(stored)
    found = _soonest(stored)
    if found is not None:
        one, limit = found
        left = _interval(limit, one["horizon"])
        said.append(
            f"At the present trend {_name(one)} reaches its {_level(limit)} limit "
            f"in {'' if left.startswith(('about', 'more')) else 'about '}{left} cycles (80 % interval)."
        )
    elif all(one["trend"] == "too few cycles" for one in stored):
        said.append("Too few cycles since the last change to see a trend.")
    elif said or any(one["trend"] == "steady trend" for one in stored):
        said.append("No steady trend leads to a limit ahead.")
    else:
        said.append("No steady trend; nothing can be said about cycles left.")
    return said


def _all_past(stored: Sequence[Stored]) -> list[str]:
    action = [_name(one) for one in stored if _is_past(one, "action")]
    alert = [_name(one) for one in stored if _is_past(one, "alert") and not _is_past(one, "action")]
    said = []
    for level, names in (("action", action), ("alert", alert)):
        if names:
            listed = " and ".join(filter(None, [", ".join(names[:-1]), names[-1]]))
            verb = "is past its" if len(names) == 1 else "are past their"
            sentence = f"{listed} {verb} {level} limit{'s'[: len(names) - 1]}."
            said.append(sentence[:1].upper() + sentence[1:])
    return said


def _soonest(stored: Sequence[Stored]) -> tuple[Stored, Stored] | None:
    """Return the metric and the limit ahead of it that is likely to be reached first."""
    ahead = [(one, limit) for one in stored if one["trend"] == "steady trend" for limit in one["left"]]
    return min(ahead, key=_order, default=None)


def _order(found: tuple[Stored, Stored]) -> float:
    one, limit = found
    known = (limit["median"], limit["low"], one["horizon"])
    return float(next(value for value in known if value is not None))


def _interval(limit: Stored, horizon: int) -> str:
    low, high = limit["low"], limit["high"]
    if low is None or high is None:
        return f"more than {horizon if low is None else low:.0f}"
    first, last = f"{low:.0f}", f"{high:.0f}"
    return f"about {first}" if first == last else f"{first} to {last}"


def _is_past(one: Stored, level: str) -> bool:
    return any(name.startswith(level) for name in one["reached"])


def _level(limit: Stored) -> str:
    return str(limit["limit"]).partition("_")[0]


def _name(one: Stored) -> str:
    metric = one["key"].rpartition("/")[2]
    return SHORT.get(metric) or metric_of(one["key"]).label
