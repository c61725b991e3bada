"""Routes: add, change, switch off; every step is in the audit trail, without secrets."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from email.errors import MessageError
from email.headerregistry import Address
from typing import Any, get_args
from urllib.parse import urlsplit

from sqlalchemy.orm import Session

from beadline.features.columns import queries as column_queries
from beadline.features.notices import queries
from beadline.features.notices.schemas import DAY_MINUTES, KIND_WORDS, RouteFacts, RouteKind, masked
from beadline.features.records import service as records
from beadline.kit.errors import Conflict, Invalid, NotFound
from beadline.store.tables import NoticeRoute, User

LONGEST_ESCALATION_MINUTES = 7 * DAY_MINUTES
OF_THIS_MACHINE = ("dbus", "kde", "qt", "glib", "gnome", "windows", "macosx", "syslog")


def every(session: Session) -> Sequence[NoticeRoute]:
    """Return all routes by name."""
    return queries.routes(session)


def get(session: Session, route_id: int) -> NoticeRoute:
    """Return a route.

    Raises
    ------
    NotFound
        If there is none.
    """
    route = queries.route_by_id(session, route_id)
    if route is None:
        raise NotFound(f"There is no route {route_id}.", mend="Open it from the page Notices.")
    return route


def add(session: Session, facts: RouteFacts, *, zone: str, by: User, at: datetime) -> tuple[NoticeRoute, str]:
    """Add a route; return it with the secret of a webhook, which is shown once.

    Raises
    ------
    Invalid
        If something about it can't be right.
    Conflict
        If the name is taken.
    """
    _check(session, facts, None)
    secret = secrets.token_urlsafe(32) if facts.kind == "webhook" else ""
    route = NoticeRoute(
        **asdict(facts), zone=zone, secret=secret, link_key=secrets.token_hex(32), enabled=True
    )
    session.add(route)
    session.flush()  # its record needs its id
    _say(session, route, "add", f"Added the notice route {route.name}", before=None, by=by, at=at)
    return route, secret


def change(
    session: Session,
    route: NoticeRoute,
    facts: RouteFacts,
    *,
    zone: str,
    new_secret: bool,
    by: User,
    at: datetime,
) -> str:
    """Change a route; return the new secret of a webhook if one was asked for.

    Raises
    ------
    Invalid
        If something about it can't be right.
    Conflict
        If the name is taken.
    """
    _check(session, facts, route)
    before = _shown(route)
    for name, value in asdict(facts).items():
        if name != "target" or value:
            setattr(route, name, value)
    route.zone = zone
    secret = ""
    if facts.kind == "webhook" and (new_secret or not route.secret):
        secret = route.secret = secrets.token_urlsafe(32)
    said = f"Changed the notice route {route.name}" + (" and its secret" if secret else "")
    _say(session, route, "change", said, before=before, by=by, at=at)
    return secret


def switch(session: Session, route: NoticeRoute, *, on: bool, by: User, at: datetime) -> None:
    """Switch a route on or off; what it has not been told by then, it is not told.

    Raises
    ------
    Conflict
        If others escalate to it.
    """
    leaning = queries.escalating_to(session, route.id)
    if not on and leaning:
        names = ", ".join(one.name for one in leaning)
        raise Conflict(f"{names} escalates to this route.", mend="Change that first.")
    before = _shown(route)
    route.enabled = on
    if not on:
        for notice in queries.unsent(session, route.id):
            notice.state, notice.claim = "failed", ""
            notice.last_error = "The route was switched off before this was sent."
    said = f"Switched the notice route {route.name} {'on' if on else 'off'}"
    _say(session, route, "switch on" if on else "switch off", said, before=before, by=by, at=at)


def _check(session: Session, facts: RouteFacts, present: NoticeRoute | None) -> None:
    if not facts.name:
        raise Invalid("The name is missing.", where="name", mend="Say who is told, such as Shift lead.")
    taken = queries.route_named(session, facts.name)
    if taken is not None and taken is not present:
        raise Conflict(f"There is a route {facts.name} already.", where="name", mend="Choose another name.")
    if facts.kind not in get_args(RouteKind):
        raise Invalid(
            "This is no way to tell somebody.", where="kind", mend="Choose e-mail, webhook or chat."
        )
    if facts.target or present is None or present.kind != facts.kind:
        check_target(facts.kind, facts.target)
    if facts.least_level not in ("alert", "action"):
        raise Invalid("There is no such limit.", where="least_level", mend="Choose alert or action limit.")
    if facts.column_id is not None and facts.column_id not in [
        one.id for one in column_queries.every(session)
    ]:
        raise Invalid("There is no such column.", where="column", mend="Choose one of the list.")
    _check_quiet(facts)
    _check_escalation(session, facts, present)


def check_target(kind: str, target: str) -> None:
    """Refuse an address that can't be written to.

    Raises
    ------
    Invalid
        If it is no address of that kind.
    """
    if not target:
        raise Invalid("The address is missing.", where="target", mend=_like(kind))
    fits = {"email": _is_mail_address, "webhook": _is_web_address, "chat": _is_chat_address}[kind](target)
    if not fits:
        said = f"This is no address for {KIND_WORDS[kind].lower()}."
        raise Invalid(said, where="target", mend=_like(kind))


def _like(kind: str) -> str:
    return {
        "email": "Write one address, like shift@example.org; a list of your mail server reaches several.",
        "webhook": "Write it like https://receiver.example.org/notices, without name and password in it.",
        "chat": "Write the service's URL as the notification library Apprise documents it.",
    }[kind]


def _is_mail_address(target: str) -> bool:
    try:
        parsed = Address(addr_spec=target)
    except (MessageError, ValueError, IndexError):
        return False
    return target.isprintable() and bool(parsed.username and parsed.domain)


def _is_web_address(target: str) -> bool:
    try:
        parts = urlsplit(target)
        parts.port  # noqa: B018  (raises where it is no number)
    except ValueError:
        return False
    plain = target.isprintable() and " " not in target and "@" not in parts.netloc
    return plain and parts.scheme in ("http", "https") and bool(parts.hostname)


def _is_chat_address(target: str) -> bool:
    """Ask the library whether it knows the service; those that act on this machine alone are refused."""
    from apprise import Apprise  # heavy, and needed by few

    scheme = target.partition("://")[0].lower()
    return scheme not in OF_THIS_MACHINE and Apprise.instantiate(target, suppress_exceptions=True) is not None


def _check_quiet(facts: RouteFacts) -> None:
    begin, end = facts.quiet_from_minute, facts.quiet_until_minute
    if (begin is None) != (end is None):
        where = "quiet_until" if end is None else "quiet_from"
        raise Invalid("Quiet hours have two ends.", where=where, mend="Give both or none.")
    if begin is not None and begin == end:
        raise Invalid(
            "Quiet hours can't be the whole day.", where="quiet_until", mend="Switch it off instead."
        )


def _check_escalation(session: Session, facts: RouteFacts, present: NoticeRoute | None) -> None:
    minutes, target_id = facts.escalate_after_minutes, facts.escalate_to_id
    if (minutes is None) != (target_id is None):
        where = "escalate_to" if target_id is None else "escalate_after_minutes"
        raise Invalid("Escalation needs a time and a route.", where=where, mend="Give both or none.")
    if minutes is None or target_id is None:
        return
    if not 1 <= minutes <= LONGEST_ESCALATION_MINUTES:
        mend = f"Give 1 to {LONGEST_ESCALATION_MINUTES} minutes."
        raise Invalid("This time can't be right.", where="escalate_after_minutes", mend=mend)
    other = queries.route_by_id(session, target_id)
    if other is None or other is present or not other.enabled:
        raise Invalid(
            "It can't escalate to this route.", where="escalate_to", mend="Choose another that is on."
        )


def _shown(route: NoticeRoute) -> dict[str, Any]:
    """Return what the audit trail says of a route: no secret, and no address that holds one."""
    names = [name for name in RouteFacts.__dataclass_fields__ if name != "target"]
    return {name: getattr(route, name) for name in names} | {
        "target": masked(route.kind, route.target),
        "enabled": route.enabled,
    }


def _say(
    session: Session,
    route: NoticeRoute,
    did: str,
    said: str,
    *,
    before: dict[str, Any] | None,
    by: User,
    at: datetime,
) -> None:
    records.write(
        session,
        by=by,
        at=at,
        did=did,
        thing="notice route",
        thing_id=route.id,
        said=said,
        before=before,
        after=_shown(route),
    )
