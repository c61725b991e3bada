"""Who is told in the demo plant."""

from __future__ import annotations

from sqlalchemy.orm import Session

from beadline.demo import telling
from beadline.features.notices import service as notices
from beadline.kit import clock
from beadline.store.tables import User


def test_the_demo_tells_only_addresses_that_nobody_has(session: Session, people: dict[str, User]):
    """RFC 2606, 2: names that end in .example are never given to anybody."""
    telling.make(session, by=people["engineer"], at=clock.now())
    routes = {one.name: one for one in notices.every(session)}
    assert {one.kind for one in routes.values()} == {"email", "webhook"}
    for route in routes.values():
        assert ".example" in route.target
        assert (route.kind == "webhook") == (not route.enabled)  # a program that is not there is not called


def test_the_shift_lead_has_an_hour_before_the_manager_is_told(session: Session, people: dict[str, User]):
    telling.make(session, by=people["engineer"], at=clock.now())
    (shift,) = [one for one in notices.lines(session) if one.escalates]
    assert shift.escalates == "after 60 min to Purification manager"
    assert "alert limit daily at 07:00; quiet 22:00 to 06:00" in shift.when
