"""The form of a route: what was typed, as facts, and a route as what is typed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from beadline.boundary.deps import Session
from beadline.features.columns import queries as columns
from beadline.features.notices import service as notices
from beadline.features.notices.schemas import HEARS_WORDS, KIND_WORDS, RouteFacts, clock_of
from beadline.kit import forms
from beadline.kit.errors import Invalid
from beadline.store.tables import NoticeRoute

EMPTY = {
    "name": "",
    "kind": "email",
    "target": "",
    "area": "",
    "column": "",
    "least_level": "alert",
    "digest_at": "07:00",
    "quiet_from": "",
    "quiet_until": "",
    "action_in_quiet": "yes",
    "escalate_after_minutes": "",
    "escalate_to": "",
}


def facts_of(posted: Mapping[str, str]) -> RouteFacts:
    """Read a form.

    Raises
    ------
    Invalid
        If a number or a time of day can't be read, or a text is too long.
    """
    return RouteFacts(
        name=_text(posted, "name", longest=80),
        kind=posted.get("kind", ""),
        target=_text(posted, "target", longest=500),
        area=_text(posted, "area", longest=60),
        column_id=forms.whole(posted.get("column", ""), where="column"),
        least_level=posted.get("least_level", ""),
        digest_minute=_minute(posted, "digest_at"),
        quiet_from_minute=_minute(posted, "quiet_from"),
        quiet_until_minute=_minute(posted, "quiet_until"),
        action_in_quiet=bool(posted.get("action_in_quiet")),
        escalate_after_minutes=forms.whole(
            posted.get("escalate_after_minutes", ""), where="escalate_after_minutes"
        ),
        escalate_to_id=forms.whole(posted.get("escalate_to", ""), where="escalate_to"),
    )


def typed(route: NoticeRoute) -> dict[str, str]:
    """Return a route as its form shows it; an address that may hold a secret stays out."""
    return {
        "name": route.name,
        "kind": route.kind,
        "target": route.target if route.kind == "email" else "",
        "area": route.area,
        "column": str(route.column_id or ""),
        "least_level": route.least_level,
        "digest_at": clock_of(route.digest_minute),
        "quiet_from": clock_of(route.quiet_from_minute),
        "quiet_until": clock_of(route.quiet_until_minute),
        "action_in_quiet": "yes" if route.action_in_quiet else "",
        "escalate_after_minutes": str(route.escalate_after_minutes or ""),
        "escalate_to": str(route.escalate_to_id or ""),
    }


def choices(session: Session, route: NoticeRoute | None) -> dict[str, Any]:
    """Return what can be chosen from; a route can't escalate to itself."""
    every = columns.every(session)
    areas = sorted({column.area for column in every} - {""})
    others = [one for one in notices.every(session) if one.enabled and (route is None or one.id != route.id)]
    return {
        "kinds": list(KIND_WORDS.items()),
        "levels": list(HEARS_WORDS.items()),
        "areas": [("", "every area"), *((area, area) for area in areas)],
        "columns": [("", "every column"), *((column.id, column.name) for column in every)],
        "others": [("", "nobody"), *((one.id, one.name) for one in others)],
    }


def _text(posted: Mapping[str, str], name: str, *, longest: int) -> str:
    value = posted.get(name, "").strip()
    if len(value) > longest:
        raise Invalid("This is too long.", where=name, mend=f"Use at most {longest} characters.")
    return value


def _minute(posted: Mapping[str, str], name: str) -> int | None:
    value = posted.get(name, "").strip()
    if not value:
        return None
    found = re.fullmatch(r"([01]?\d|2[0-3]):([0-5]\d)", value)
    if found is None:
        raise Invalid(f"“{value}” is not a time of day.", where=name, mend="Write it like 07:00.")
    return 60 * int(found[1]) + int(found[2])
