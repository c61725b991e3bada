"""What is due of each bed, on the page and in the feed (iCalendar: RFC 5545)."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from html import unescape

import pytest
from icalendar import Calendar
from tests.builders import HEALTHY, PACKED, make_pulse_file
from tests.sites import PLOVER, Site
from tests.visitors import PASSWORD, bearer

from beadline.features.accounts import queries as account_queries
from beadline.features.accounts import service as accounts
from beadline.features.calendar import service as calendar
from beadline.features.calendar.schemas import Due, Intervals
from beadline.kit import clock

USUAL = Intervals(pulse_test_days=365, pulse_test_cycles=0, storage_days=90)
FEED = "/api/v1/calendar.ics"
AFTER = PACKED + timedelta(days=HEALTHY + 1)  # a day after the newest run of the healthy life


def due(site: Site, at: datetime, intervals: Intervals = USUAL) -> dict[str, Due]:
    with site.writing() as session:
        return {one.key: one for one in calendar.due(session, intervals, at=at)}


def log_test(site: Site) -> None:
    """A pulse test on 6 January 2025."""
    file = make_pulse_file(PLOVER)
    facts = {"packing": "1", "performed_at": "2025-01-06T12:00", "injection_ml": "16"}
    site.visitor("engineer").send("/pulse-tests", facts, file=(file.filename, file.content))


def token(site: Site, scope: str) -> str:
    with site.writing() as session:
        user = account_queries.user_named(session, "viewer")
        assert user is not None
        return accounts.make_api_token(session, user, name="phone", days=30, scope=scope, at=clock.now())


def test_a_bed_without_a_pulse_test_is_overdue_from_its_packing_on(site: Site):
    found = due(site, AFTER)["pulse-test-1"]
    assert found.on == PACKED.date()
    assert found.kind(AFTER.date()) == "act"
    assert "not qualified" in found.reason


def test_a_pulse_test_counts_for_the_days_that_the_site_allows(site: Site):
    log_test(site)
    found = due(site, AFTER)["pulse-test-1"]
    assert found.on == date(2026, 1, 6)  # 365 days after 6 January 2025
    assert found.kind(date(2025, 12, 1)) == "ok"
    assert found.kind(date(2025, 12, 20)) == "watch"
    assert found.kind(date(2026, 1, 7)) == "act"


def test_a_pulse_test_counts_for_the_cycles_that_the_site_allows(life: Site):
    """20 runs in 21 days: the five that are left take 5.25 days, so the limit is reached on the fifth."""
    log_test(life)
    by_count = Intervals(pulse_test_days=365, pulse_test_cycles=HEALTHY + 5, storage_days=90)
    found = due(life, AFTER, by_count)["pulse-test-1"]
    assert found.on == AFTER.date() + timedelta(days=5)
    assert f"{HEALTHY} are run" in found.reason


def test_a_cycle_limit_is_due_when_the_pace_reaches_it(life: Site):
    """The packing may run 150 cycles, its lot 200: the 130 left take 130 * 21 / 20 = 136.5 days."""
    found = due(life, AFTER)["cycle-limit-1"]
    assert found.on == AFTER.date() + timedelta(days=136)
    assert f"{HEALTHY} of 150 cycles of the packing" in found.reason


def test_a_bed_that_rests_is_told_of_and_has_no_pace(life: Site):
    newest = PACKED + timedelta(days=HEALTHY)
    assert "storage-1" not in due(life, newest + timedelta(days=44))
    found = due(life, newest + timedelta(days=100))
    assert found["storage-1"].on == newest.date() + timedelta(days=90)
    assert found["storage-1"].kind(newest.date() + timedelta(days=100)) == "act"
    assert "cycle-limit-1" not in found


def test_a_review_is_due_by_its_campaign_until_it_is_approved(site: Site):
    engineer, quality = site.visitor("engineer"), site.visitor("quality")
    plan = {"packing": "1", "product": "an enzyme", "cycles": "10", "starts_on": "2025-03-01"}
    engineer.send("/campaign-reviews", plan)
    found = due(site, AFTER)["review-1"]
    assert found.on == date(2025, 3, 1)
    assert "an engineer decides" in found.reason
    engineer.send(
        "/campaign-reviews/1/decision", {"decision": "use", "reason": "It is fine.", "password": PASSWORD}
    )
    assert "quality approves" in due(site, AFTER)["review-1"].reason
    assert "review-1" not in due(site, datetime(2025, 4, 15, tzinfo=UTC))  # that campaign is long begun
    quality.send("/campaign-reviews/1/approval", {"password": PASSWORD})
    assert "review-1" not in due(site, AFTER)


CAMPAIGN = {"packing": "1", "product": "an enzyme", "cycles": "12", "starts_on": "2025-05-01"}


def test_a_planned_campaign_asks_for_its_review_until_one_is_begun(site: Site):
    engineer = site.visitor("engineer")
    engineer.send("/planned-campaigns", CAMPAIGN)
    found = due(site, AFTER)["campaign-1"]
    assert (found.on, found.what) == (date(2025, 5, 1), "review")
    assert "12 cycles of an enzyme begins; no review is begun." in found.reason
    form = engineer.page(found.href)
    assert 'value="12"' in form
    assert 'value="2025-05-01"' in form
    assert "campaign-1" not in due(site, datetime(2025, 6, 15, tzinfo=UTC))  # that campaign is long begun
    engineer.send("/campaign-reviews", CAMPAIGN)
    assert {"campaign-1", "review-1"} & set(due(site, AFTER)) == {"review-1"}


def test_a_planned_campaign_is_called_off_with_a_reason(site: Site):
    engineer = site.visitor("engineer")
    engineer.send("/planned-campaigns", CAMPAIGN)
    assert "A reason is missing." in engineer.send("/planned-campaigns/1/call-off", {"reason": ""}, 422)
    engineer.send("/planned-campaigns/1/call-off", {"reason": "No feed."})
    assert "campaign-1" not in due(site, AFTER)
    assert "called off before" in engineer.send("/planned-campaigns/1/call-off", {"reason": "x"}, 409)
    assert "No feed." in site.visitor("viewer").page("/records?thing=planned+campaign")


@pytest.mark.parametrize("wrong", [{"cycles": ""}, {"cycles": "601"}, {"starts_on": "soon"}])
def test_a_campaign_that_cannot_be_is_not_planned(site: Site, wrong: dict[str, str]):
    site.visitor("engineer").send("/planned-campaigns", CAMPAIGN | wrong, 422)
    assert site.counts()["planned_campaigns"] == 0


def test_a_bed_that_was_unpacked_owes_nothing(site: Site):
    site.visitor("engineer").send("/packings/1/unpack", {"reason": "worn out"})
    assert {key.rpartition("-")[2] for key in due(site, AFTER)} == {"2"}


def test_the_page_shows_what_is_due_and_where_it_is_done(site: Site):
    page = unescape(site.visitor("viewer").page("/calendar"))
    assert "2 things are overdue." in page
    assert 'href="/pulse-tests/new?packing=1"' in page
    assert FEED in page


def test_the_feed_is_an_icalendar_with_an_entry_each(life: Site):
    log_test(life)
    answer = life.client.get(FEED, params={"token": token(life, "calendar")})
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    read = Calendar.from_ical(answer.content)
    assert (read["version"], read.name) == ("2.0", "VCALENDAR")  # 3.6 and 3.7.4
    assert read["prodid"]  # 3.7.3
    entries = read.walk("VEVENT")
    expected = due(life, clock.now())
    assert {str(one["summary"]) for one in entries} >= {"Pulse test: Plover, packing 1"}
    assert len({str(one["uid"]) for one in entries}) == len(entries) == len(expected)
    for one in entries:
        assert one["dtstamp"].dt.tzinfo is not None  # 3.8.7.2: in UTC
        assert one["dtend"].dt - one["dtstart"].dt == timedelta(days=1)  # 3.6.1: the end is not included
        key = str(one["uid"]).partition("@")[0]
        assert one["dtstart"].dt == expected[key].on
        assert expected[key].reason in str(one["description"])
        assert str(one["url"]).endswith(expected[key].href)


def test_the_feed_keeps_to_lines_that_the_standard_allows(site: Site):
    """RFC 5545, 3.1: lines end in CRLF and should have at most 75 octets."""
    content = site.client.get(FEED, params={"token": token(site, "calendar")}).content
    assert content.endswith(b"END:VCALENDAR\r\n")
    lines = content.split(b"\r\n")
    assert not any(b"\n" in line or b"\r" in line for line in lines)
    assert max(len(line) for line in lines) <= 75


def test_an_entry_keeps_its_name_while_its_day_moves(life: Site):
    with life.writing() as session:
        days = [
            Calendar.from_ical(
                calendar.feed(
                    calendar.due(session, USUAL, at=at), address="https://beds.example.org", demo=False, at=at
                )
            )
            for at in (AFTER, AFTER + timedelta(days=5))
        ]
    first, later = ({str(one["uid"]): one["dtstart"].dt for one in each.walk("VEVENT")} for each in days)
    uid = "cycle-limit-1@beds.example.org"
    assert first[uid] != later[uid]


@pytest.mark.parametrize("scope", ["look", "log runs", "all"])
def test_a_token_that_opens_more_is_not_taken_from_an_address(site: Site, scope: str):
    answer = site.client.get(FEED, params={"token": token(site, scope)})
    assert answer.status_code == 401
    assert "must not stand in an address" in answer.text


def test_a_token_for_the_calendar_opens_nothing_else(site: Site):
    made = token(site, "calendar")
    assert site.client.get(FEED, headers=bearer(made)).status_code == 200
    assert site.client.get("/api/v1/alerts", headers=bearer(made)).status_code == 403
    assert site.client.get("/api/v1/alerts", params={"token": made}).status_code == 401
    assert site.client.get("/calendar", params={"token": made}, follow_redirects=False).status_code == 303


def test_a_revoked_token_shuts_the_feed(site: Site):
    made = token(site, "calendar")
    visitor = site.visitor("viewer")
    assert site.client.get(FEED, params={"token": made}).status_code == 200
    visitor.send("/account/tokens/1/revoke", {})
    assert site.client.get(FEED, params={"token": made}).status_code == 401
    assert site.client.get(FEED, params={"token": "bl_unknown"}).status_code == 401
    assert site.client.get(FEED).status_code == 401


def test_the_account_page_makes_such_a_token(site: Site):
    page = site.visitor("viewer").post(
        "/account/tokens", {"name": "phone", "scope": "calendar", "days": "90"}
    )
    assert "shown only now" in page.text
