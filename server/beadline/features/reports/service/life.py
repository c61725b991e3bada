"""The whole life of a packing on paper: for the file when it is retired, or as it stands until now."""

from __future__ import annotations

from collections import Counter

from sqlalchemy.orm import Session

from beadline.features.drift import service as drift
from beadline.features.overview import service as overview
from beadline.features.overview.service import Story
from beadline.features.packings import service as packings
from beadline.features.reports.service import happened, lines, pictures, setting
from beadline.features.reports.service.setting import Sheet
from beadline.store.tables import Packing

LEADING = ("hetp_moments", "asymmetry", "mean_cv", "variance_cv2")


def life_report(session: Session, packing_id: int, sheet: Sheet) -> bytes:
    """Return the life of a packing as PDF.

    Raises
    ------
    NotFound
        If there is no such packing.
    """
    packing = packings.get(session, packing_id)
    story = overview.of_bed(session, packing.column.asset_tag, packing_id=packing.id)
    events = happened.told(session, packing, story, sheet)
    about = [("packing", packing.id), *(("bed event", one["id"]) for one in events["events"])]
    trail = setting.trail(session, about, sheet)
    found = [overview.trend(story, key) for key in _keys(story)]
    said = {
        "bed": setting.bed_name(packing),
        "title": "Life of a packing" if packing.unpacked_at else "Life of a packing, until now",
        "lead": _lead(story, sheet),
        "rest": _rest(story),
        "unpacked_because": next((one["why"] for one in trail if one["did"] == "unpack"), ""),
        "facts": [*setting.bed_facts(packing, sheet), *_facts(packing, story)],
        "trends": [lines.of_trend(one) for one in found],
        "cycles": [lines.of_cycle(story, cycle, sheet) for cycle in story.cycles],
        "trail": trail,
        **events,
    }
    newest = next((c.number for c in reversed(story.cycles) if story.rows.get(c.id)), 0)
    marks = [(alert["since"] - 0.5, f"alert {alert['id']}") for alert in events["alerts"]]
    marks += [(one.place, one.mark) for one in overview.done_to(story)]
    drawn = {"pictures": pictures.trends(found, marks), "curve": pictures.curve_of(session, story, newest)}
    return sheet.printed("reports/life.typ", said, drawn | {"newest": newest})


def _keys(story: Story) -> list[str]:
    """Return the leading metrics of the official transition and the pressure, where there are values."""
    keys = [*(f"{story.transitions[0]}/{name}" for name in LEADING), "pressure_drop_pa"]
    return [key for key in keys if any(key in values for values in story.values.values())]


def _lead(story: Story, sheet: Sheet) -> str:
    many = f"{len(story.cycles)} cycle{'' if len(story.cycles) == 1 else 's'}"
    if story.packing.unpacked_at:
        return f"Unpacked on {sheet.moment(story.packing.unpacked_at)} after {many}."
    return f"In use; {many} so far."


def _rest(story: Story) -> str:
    """Count the verdicts."""
    found = Counter(drift.verdict_of(cycle, story.judgements.get(cycle.id)) for cycle in story.cycles)
    said = ", ".join(f"{count} {verdict}" for verdict, count in found.most_common())
    return f"Verdicts on its runs: {said}." if said else "No run has been logged."


def _facts(packing: Packing, story: Story) -> list[list[str]]:
    limits = [n for n in (packing.cycle_limit, packing.lot.resin.cycle_limit) if n]
    passed = sum(test.verdict == "pass" for test in story.tests)
    baseline = f"cycles {story.baseline[0]} to {story.baseline[-1]}" if story.baseline else "not complete"
    return [
        ["Cycles", f"{len(story.cycles)}" + (f" of {min(limits)} allowed" if limits else "")],
        ["Pulse tests", f"{len(story.tests)}, {passed} passed" if story.tests else "none"],
        ["Step plan", f"{packing.step_plan.name}, version {packing.step_plan.version}"],
        ["Baseline", baseline],
    ]
