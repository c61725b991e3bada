"""Lines of a life's tables: a metric at the start and at the end, and one line a cycle."""

from __future__ import annotations

from statistics import median

from beadline.features.drift import service as drift
from beadline.features.overview.schemas import Trend
from beadline.features.overview.service import Story
from beadline.features.reports.service.setting import Sheet
from beadline.kit import looks, words
from beadline.science.drift.reading import metric_of
from beadline.store.tables import Cycle

NEWEST = 5  # readings whose median says where a metric ended
SHORT_SHA256 = 16  # figures of a trace's hash on its line; the trail and the page of the trace hold all 64


def of_trend(one: Trend) -> dict[str, str]:
    """Return a metric's baseline, its end and the way between, and how often it was past a limit."""
    known = [(point.value, point.kind) for point in one.points if point.value is not None]
    counted = [value for value, kind in known if kind != "out"]
    end = median(counted[-NEWEST:]) if counted else None
    change = end / one.centre - 1 if end is not None and one.centre else None
    return {
        "label": one.title + (f", {one.unit}" if one.unit not in ("", "1") else ""),
        "baseline": words.number(one.centre, one.digits) or "not known",
        "end": words.number(end, one.digits),
        "change": words.percent(change),
        "alert": looks.span(one.alert_low, one.alert_high, one.digits) or "not set",
        "action": looks.span(one.action_low, one.action_high, one.digits) or "not set",
        "passed": f"{sum(k == 'watch' for _, k in known)} / {sum(k == 'act' for _, k in known)}",
    }


def of_cycle(story: Story, cycle: Cycle, sheet: Sheet) -> dict[str, str]:
    """Return a cycle's verdict, leading numbers and trace."""
    official = story.transitions[0]
    judgement = story.judgements.get(cycle.id)
    drifted = None if judgement is None else judgement.drift
    return {
        "number": str(cycle.number),
        "batch": cycle.batch,
        "started": sheet.moment(cycle.started_at),
        "verdict": drift.verdict_of(cycle, judgement),
        "drift": words.decimals(drifted, 1),
        "hetp": _shown(story, cycle, f"{official}/hetp_moments"),
        "asymmetry": _shown(story, cycle, f"{official}/asymmetry"),
        "pressure": _shown(story, cycle, "pressure_drop_pa"),
        "trace": cycle.trace.sha256[:SHORT_SHA256],
    }


def _shown(story: Story, cycle: Cycle, key: str) -> str:
    pair, metric = story.values[cycle.id].get(key), metric_of(key)
    return words.number(metric.shown(pair[0]), metric.digits) if pair else ""
