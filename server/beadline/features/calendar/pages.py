"""The page Calendar."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from beadline.boundary import templates
from beadline.boundary.deps import Now, ReadSession, SiteSettings, Viewer
from beadline.features.calendar import service as calendar
from beadline.features.calendar.schemas import SOON_DAYS, WHAT_WORDS, Due, Intervals
from beadline.features.packings import service as packings
from beadline.kit import looks

router = APIRouter(include_in_schema=False)
TITLES = {"act": "Overdue", "watch": f"Within {SOON_DAYS} days", "ok": "Later"}


@router.get("/calendar")
def calendar_page(
    request: Request, session: ReadSession, viewer: Viewer, settings: SiteSettings, now: Now
) -> Response:
    """Show what is due of every bed in use."""
    local, intervals = now.astimezone(settings.zone), Intervals.of(settings)
    today, found = local.date(), calendar.due(session, intervals, at=local)
    groups = [
        (title, kind, [one for one in found if one.kind(today) == kind]) for kind, title in TITLES.items()
    ]
    context = {
        "lede": _lede(groups[0][2], groups[1][2]),
        "groups": [(title, kind, ones) for title, kind, ones in groups if ones],
        "what_words": WHAT_WORDS,
        "intervals": intervals,
        "beds": [(str(p.id), f"{p.column.name}, packing {p.number}") for p in packings.in_use(session)],
        "may_plan": "review a campaign" in viewer.deeds,
        "feed": f"{settings.address}/api/v1/calendar.ics?token=",
    }
    return templates.render(request, "calendar/calendar.html", context)


def _lede(overdue: list[Due], soon: list[Due]) -> looks.Lede:
    if overdue:
        is_one = len(overdue) == 1
        lead = f"{len(overdue)} thing{'' if is_one else 's'} {'is' if is_one else 'are'} overdue."
        return looks.Lede(lead, f"{len(soon)} more within {SOON_DAYS} days.", "act")
    if soon:
        return looks.Lede(f"{len(soon)} due within {SOON_DAYS} days.", "Nothing is overdue.", "watch")
    return looks.Lede(f"Nothing is due within {SOON_DAYS} days.", "", "ok")
