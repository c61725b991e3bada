"""What a route may be, when it is told, and how a delivery is said."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from beadline.features.drift.schemas import CycleCurve
from beadline.store.tables import NoticeRoute

RouteKind = Literal["email", "webhook", "chat"]
KIND_WORDS: dict[str, str] = {"email": "E-mail", "webhook": "Webhook", "chat": "Chat"}
LEVEL_WORDS: dict[str, str] = {"alert": "alert limit", "action": "action limit"}
HEARS_WORDS: dict[str, str] = {
    "alert": "past the alert or the action limit",
    "action": "past the action limit",
}
DAY_MINUTES = 24 * 60


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteFacts:
    """What a person says of a route; minutes count from midnight in the site's zone.

    Attributes
    ----------
    target : str
        Address of e-mail, of the webhook or of the chat; empty keeps the one that is stored.
    digest_minute : int or None
        When what passed only its alert limit is gathered into one message a day; None for at once.
    """

    name: str
    kind: str
    target: str
    area: str = ""
    column_id: int | None = None
    least_level: str = "alert"
    digest_minute: int | None = None
    quiet_from_minute: int | None = None
    quiet_until_minute: int | None = None
    action_in_quiet: bool = True
    escalate_after_minutes: int | None = None
    escalate_to_id: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteLine:
    """A route in words, with how many notices wait for it or were given up."""

    id: int
    name: str
    way: str
    to: str
    hears: str
    when: str
    escalates: str
    enabled: bool
    waiting: int
    failed: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """How far one notice has come; `about` names the bed where that is not plain."""

    event: str
    way: str
    to: str
    route: str
    state: str
    attempts: int
    created_at: datetime
    next_attempt_at: datetime
    sent_at: datetime | None
    last_error: str
    about: str = ""
    alert_id: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """What is said of one alert, as it stands when the message is written.

    Attributes
    ----------
    happened : str
        Why this is said now: raised, worsened, or escalated.
    evidence : tuple of str
        What moved most, in the units of the screen.
    causes : tuple of (str, str)
        Candidate causes with the check that tells, the likeliest first.
    link, answer : str
        Addresses of the alert, and of where who signs in acknowledges it.
    """

    notice_id: int
    alert_id: int
    event: str
    happened: str
    level: str
    status: str
    bed: str
    column_tag: str
    column_name: str
    area: str
    packing_number: int
    headline: str
    sentence: str
    raised_at: datetime
    since_cycle: int
    since_low: int
    since_high: int
    latest_cycle: int
    evidence: tuple[str, ...]
    causes: tuple[tuple[str, str], ...]
    link: str
    answer: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """One metric over the cycles of a bed, in the units of the screen, for the picture of a message.

    Attributes
    ----------
    alert, action : tuple of (float or None)
        Lower and upper limit of the chart of single cycles.
    since_cycle : int
        Where the change began.
    """

    title: str
    cycles: tuple[int, ...]
    values: tuple[float, ...]
    centre: float
    alert: tuple[float | None, float | None]
    action: tuple[float | None, float | None]
    since_cycle: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Parcel:
    """One message for one route, ready to be written in its way; without items it is a test."""

    route_id: int
    route_name: str
    kind: str
    target: str
    secret: str
    notice_ids: tuple[int, ...]
    items: tuple[Item, ...]
    address: str
    zone: str
    demo: bool
    at: datetime
    trend: Trend | None = None
    curve: CycleCurve | None = None

    @property
    def is_test(self) -> bool:
        """Whether somebody asked for a test."""
        return not self.items

    @property
    def alerts(self) -> tuple[Item, ...]:
        """One item for each alert: the newest, which says all; past the action limit first."""
        newest = {item.alert_id: item for item in self.items}
        return tuple(sorted(newest.values(), key=lambda item: (item.level != "action", item.alert_id)))


def due_at(route: NoticeRoute, *, event: str, level: str, at: datetime) -> datetime:
    """Return when a route is told: at once, with its digest, or at the end of its quiet hours.

    Only what passed its alert limit waits for the digest, and never what is escalated.
    """
    local = at.astimezone(ZoneInfo(route.zone))
    if route.digest_minute is not None and level == "alert" and event != "escalated":
        local = _next(local, route.digest_minute)
    breaks_quiet = event == "test" or (level == "action" and route.action_in_quiet)
    if not breaks_quiet and route.quiet_until_minute is not None and is_quiet(route, local):
        local = _next(local, route.quiet_until_minute)
    return local.astimezone(UTC)


def is_quiet(route: NoticeRoute, local: datetime) -> bool:
    """Tell whether a local time lies in a route's quiet hours; they may pass midnight."""
    begin, end = route.quiet_from_minute, route.quiet_until_minute
    if begin is None or end is None:
        return False
    minute = 60 * local.hour + local.minute
    return begin <= minute < end if begin < end else minute >= begin or minute < end


def _next(local: datetime, minute: int) -> datetime:
    """Return the next time at which the clock on the wall shows this minute of the day."""
    then = local.replace(hour=minute // 60, minute=minute % 60, second=0, microsecond=0)
    return then if then > local else then + timedelta(days=1)


def clock_of(minute: int | None) -> str:
    """Write a minute of the day as a clock shows it; empty for none.

    Examples
    --------
    >>> clock_of(425), clock_of(None)
    ('07:05', '')
    """
    return "" if minute is None else f"{minute // 60:02d}:{minute % 60:02d}"


def masked(kind: str, target: str) -> str:
    """Write a target so that it gives away no secret in its address.

    Examples
    --------
    >>> masked("email", "shift@example.org"), masked("webhook", "https://hooks.example.org:8443/in/a1b2")
    ('shift@example.org', 'https://hooks.example.org:8443/…')
    >>> masked("chat", "chatter://token@room")
    'chatter://…'
    """
    if kind == "email":
        return target
    parts = urlsplit(target)
    if kind == "webhook":
        port = f":{parts.port}" if parts.port else ""
        return f"{parts.scheme}://{parts.hostname}{port}/…"
    return f"{target.partition('://')[0]}://…"
