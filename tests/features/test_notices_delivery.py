"""Notices get through: to a real mail server and a real HTTP receiver, which die and come back."""

from __future__ import annotations

import io
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import replace
from datetime import datetime, timedelta
from email.message import EmailMessage
from html import unescape
from typing import Any

import httpx
import pytest
from PIL import Image
from pydantic import SecretStr, ValidationError
from sqlalchemy import select
from sqlalchemy.orm import Session
from tests import sites
from tests.builders import HEALTHY
from tests.receivers import Hook, Mailbox
from tests.serving import free_port
from tests.sites import Site

from beadline.features.accounts import queries as account_queries
from beadline.features.alerts import queries as alert_queries
from beadline.features.notices import service as notices
from beadline.features.notices.jobs import picture as picture_of
from beadline.features.notices.schemas import RouteFacts, Trend
from beadline.features.notices.service import outbox, picturing
from beadline.features.transitions import queries as transition_queries
from beadline.kit import clock, places
from beadline.science.drift.reading import metric_of
from beadline.settings import Settings
from beadline.store.tables import Alert, Notice
from beadline.worker import Worker, beside

MAIL = RouteFacts(name="Shift", kind="email", target="shift@example.org")
WITHIN_S = 60.0


pytestmark = pytest.mark.every_dialect


class Clock:
    """A clock that a test sets."""

    def __init__(self) -> None:
        self.at = clock.now()

    def __call__(self) -> datetime:
        return self.at

    def pass_by(self, **time_passed: float) -> None:
        self.at += timedelta(**time_passed)


@pytest.fixture
def mailbox() -> Iterator[Mailbox]:
    made = Mailbox()
    made.start()
    yield made
    made.stop()


@pytest.fixture
def hook() -> Iterator[Hook]:
    made = Hook()
    made.start()
    yield made
    made.stop()


@pytest.fixture
def raised(open_site: Callable[..., Site], mailbox: Mailbox) -> Site:
    """A site with one alert at the action level, and a mail server."""
    return open_site(
        sites.fill_cracked_life,
        smtp_host="127.0.0.1",
        smtp_port=mailbox.port,
        smtp_security="none",
        smtp_sender="beadline@example.org",
        public_url="https://beds.example.org",
    )


def tell(site: Site, facts: RouteFacts, *, event: str = "worsened", at: datetime | None = None) -> str:
    """Add a route, or take the one of this name, and put every alert of Plover into its outbox."""
    at = at or clock.now()
    with site.writing() as session:
        by = account_queries.user_named(session, "engineer")
        assert by is not None
        known = next((one for one in notices.every(session) if one.name == facts.name), None)
        secret = ""
        if known is None:
            known, secret = notices.add(session, facts, zone="UTC", by=by, at=at)
        for alert in alert_queries.of_packing(session, 1):
            outbox.add(session, known, alert, event=event, at=at)
        return secret


def another_alert(site: Site, episode: int) -> None:
    """A further event of the same bed."""
    with site.writing() as session:
        first = session.get_one(Alert, 1)
        facts = {name: getattr(first, name) for name in Alert.__table__.columns.keys() if name != "id"}  # noqa: SIM118
        session.add(Alert(**(facts | {"episode": episode, "level": "alert"})))


def rows(site: Site) -> list[Notice]:
    with Session(site.engine) as session:
        return list(session.scalars(select(Notice).order_by(Notice.id)))


def states(site: Site) -> list[tuple[str, int]]:
    return [(one.state, one.attempts) for one in rows(site)]


def test_a_mail_says_what_was_seen_and_what_to_do(raised: Site, mailbox: Mailbox):
    tell(raised, MAIL)
    worker = Worker(raised.settings)
    assert worker.step()
    assert not worker.step()
    (mail,) = mailbox.mails
    assert mail["subject"] == "Past action limit: Plover, packing 1"
    assert (mail["to"], mail["from"]) == ("shift@example.org", "Beadline <beadline@example.org>")
    with Session(raised.engine) as session:
        alert = session.get_one(Alert, 1)
    for half in ("plain", "html"):
        body = mail.get_body((half,))
        assert body is not None
        text = " ".join(body.get_content().split())
        for said in (
            alert.headline,
            "Channel or crack",
            alert.causes[0]["check"],
            "https://beds.example.org/alerts/1",
            "asked to sign in",
            "Nobody has acknowledged it.",
            f"began about cycle {alert.since_cycle}",
            "only by site procedure and by qualified people",
        ):
            assert said.replace("'", "") in text.replace("&#39;", "").replace("'", ""), said
    (row,) = rows(raised)
    assert (row.state, row.attempts, row.last_error) == ("sent", 1, "")


def test_a_mail_shows_the_trend_with_its_limits(raised: Site, mailbox: Mailbox):
    tell(raised, MAIL)
    assert Worker(raised.settings).step()
    (mail,) = mailbox.mails
    picture, _ = pictures_in(mail)
    with Image.open(io.BytesIO(picture.get_content())) as drawn:
        assert drawn.size == (960, 450)
        assert len(set(drawn.convert("RGB").getdata())) > 50
    html = mail.get_body(("html",))
    assert html is not None
    assert f'src="cid:{picture["content-id"].strip("<>")}"' in html.get_content()
    with Session(raised.engine) as session:
        alert = alert_queries.by_id(session, 1)
        assert alert is not None
        trend = picturing.trend_of(session, alert)
        assert trend is not None
        key = next(one["key"] for one in alert.evidence if "/curve_" not in one["key"])
        name, _, metric = key.rpartition("/")
        rows_of_key = [
            row
            for row in transition_queries.of_packing(session, alert.packing_id)
            if row.usable and row.name == name
        ]
        factor = metric_of(key).factor
        assert trend.cycles == tuple(range(1, HEALTHY + 6))
        assert trend.values == pytest.approx([row.estimates[metric][0] * factor for row in rows_of_key])
    said = picture_of.described(trend)
    assert said.startswith(trend.title)
    assert f"began about cycle {trend.since_cycle}" in said
    assert unescape(said) in unescape(" ".join(html.get_content().split()))


def pictures_in(mail: EmailMessage) -> list[EmailMessage]:
    return [part for part in mail.walk() if part.get_content_type() == "image/png"]


def test_a_mail_shows_the_curve_over_the_baseline(raised: Site, mailbox: Mailbox):
    tell(raised, MAIL)
    assert Worker(raised.settings).step()
    (mail,) = mailbox.mails
    _, picture = pictures_in(mail)
    assert mail.get_content_type() == "multipart/alternative"  # RFC 2046, 5.1.4: plain first, then richer
    assert [part.get_content_type() for part in mail.iter_parts()] == ["text/plain", "multipart/related"]
    assert picture["content-disposition"].startswith("inline")
    with Image.open(io.BytesIO(picture.get_content())) as drawn:
        assert len(set(drawn.convert("RGB").getdata())) > 50
    html = mail.get_body(("html",))
    assert html is not None
    with Session(raised.engine) as session:
        alert = alert_queries.by_id(session, 1)
        assert alert is not None
        curve = picturing.curve_of(session, alert)
        assert curve is not None
        assert curve.cycle == alert.latest_cycle.number
        envelope = zip(curve.view.fraction, curve.view.envelope_low, curve.view.envelope_high, strict=True)
        # a by-pass carries a twentieth of the flow ahead: the front leaves the envelope by some hundredths
        assert max(own - high for own, _, high in envelope) > 0.02
    said = unescape(" ".join(html.get_content().split()))
    shown = f'<img src="cid:{picture["content-id"].strip("<>")}" width="640" '
    assert shown + f'alt="{picture_of.described_curve(curve)}">' in said


def test_the_picture_of_a_bed_needs_no_display_and_marks_what_is_there():
    """Each thing that is drawn changes the picture; values that are all equal are drawn too."""
    usual = Trend(
        title="HETP",
        cycles=(1, 2, 3),
        values=(1.0, 1.0, 1.0),
        centre=1.0,
        alert=(None, None),
        action=(None, None),
        since_cycle=2,
    )
    drawn = {
        picture_of.draw(one)
        for one in (
            usual,
            replace(usual, values=(1.0, 1.1, 1.3)),
            replace(usual, alert=(None, 1.2)),
            replace(usual, action=(None, 1.2)),
            replace(usual, since_cycle=3),
        )
    }
    assert len(drawn) == 5
    assert all(one.startswith(b"\x89PNG") for one in drawn)


def test_a_webhook_can_be_verified_as_the_developers_page_says(raised: Site, hook: Hook):
    secret = tell(raised, RouteFacts(name="Hook", kind="webhook", target=hook.address))
    assert Worker(raised.settings).step()
    ((headers, body),) = hook.got
    text = (places.folder("web").parent / "DEVELOPERS.md").read_text()
    example = re.search(r"```python\n(import hashlib.+?)```", text, re.DOTALL)
    assert example
    spoken: dict[str, Any] = {}
    exec(example.group(1), spoken)
    is_ours = spoken["is_ours"]
    assert is_ours(secret, headers, body)
    assert not is_ours(secret, headers, body + b" ")
    assert not is_ours("another", headers, body)
    assert not is_ours(secret, headers | {"Beadline-Timestamp": "1764086400"}, body)
    (content,) = hook.contents
    (notice,) = content["notices"]
    assert (content["version"], content["test"], content["route"]) == (1, False, "Hook")
    assert (notice["event"], notice["level"], notice["column"]) == (
        "worsened",
        "action",
        sites.PLOVER.column.asset_tag,
    )
    assert notice["link"] == "https://beds.example.org/alerts/1"
    assert len(notice["evidence"]) == 4
    assert all(
        re.search(r": [−\d.]+ to [−\d.]+", line) for line in notice["evidence"]
    )  # values before shifts


@pytest.mark.parametrize("status", [302, 404, 500])
def test_a_webhook_is_taken_only_with_2xx_and_follows_no_redirect(raised: Site, hook: Hook, status: int):
    tell(raised, RouteFacts(name="Hook", kind="webhook", target=hook.address))
    hook.status = status
    assert Worker(raised.settings).step()
    (row,) = rows(raised)
    assert (row.state, row.last_error) == ("waiting", f"The receiver answered with status {status}.")


def test_a_chat_is_reached_through_the_library(raised: Site, hook: Hook):
    tell(raised, RouteFacts(name="Chat", kind="chat", target=f"json://127.0.0.1:{hook.port}/room"))
    assert Worker(raised.settings).step()
    (content,) = hook.contents
    assert content["title"] == "Past action limit: Plover, packing 1"
    assert "https://beds.example.org/alerts/1" in content["message"]
    hook.status = 500
    tell(raised, RouteFacts(name="Chat", kind="chat", target="x"), event="escalated")
    assert Worker(raised.settings).step()
    assert rows(raised)[-1].last_error.startswith("The chat service did not take it")


def test_a_server_that_is_dead_for_a_day_loses_nothing_and_one_summary_comes(raised: Site, mailbox: Mailbox):
    now = Clock()
    worker = Worker(raised.settings, now=now)
    mailbox.stop()
    for hour in range(24):
        if hour < 6:
            another_alert(raised, episode=100 + hour)
            tell(raised, MAIL, at=now.at)
        worker.step()
        now.pass_by(hours=1)
    assert mailbox.mails == []
    assert {one.state for one in rows(raised)} == {"waiting"}
    assert f"127.0.0.1:{mailbox.port}" in rows(raised)[0].last_error
    mailbox.start()
    now.pass_by(hours=1)
    while worker.step():
        pass
    (mail,) = mailbox.mails
    assert mail["subject"] == "7 alerts, 1 past the action limit"
    body = mail.get_body(("plain",))
    assert body is not None
    for number in range(1, 8):
        assert f"https://beds.example.org/alerts/{number}" in body.get_content().split()
    assert {one.state for one in rows(raised)} == {"sent"}


def test_new_notices_take_what_waits_along_when_the_server_is_back(raised: Site, mailbox: Mailbox):
    """They need not wait for the end of the old ones' pause."""
    now = Clock()
    worker = Worker(raised.settings, now=now)
    mailbox.refusal = "451 come back later"
    tell(raised, MAIL, at=now.at)
    for _ in range(9):
        assert worker.step()
        now.at = rows(raised)[0].next_attempt_at
    assert "451" in rows(raised)[0].last_error
    assert worker.step()  # its next pause is an hour
    now.pass_by(minutes=5)
    assert not worker.step()
    mailbox.refusal = ""
    another_alert(raised, episode=100)
    tell(raised, MAIL, at=now.at)
    assert worker.step()
    assert [mail["subject"] for mail in mailbox.mails] == ["2 alerts, 1 past the action limit"]


def test_a_repeated_mail_can_be_told_by_its_id(raised: Site, mailbox: Mailbox):
    """As after a worker that died when the server had taken the mail already."""
    tell(raised, MAIL)
    worker = Worker(raised.settings)
    assert worker.step()
    with raised.writing() as session:
        row = session.get_one(Notice, 1)
        row.state, row.sent_at, row.next_attempt_at = "waiting", None, row.due_at
    assert worker.step()
    assert mailbox.mails[0]["message-id"] == mailbox.mails[1]["message-id"]


def test_without_a_mail_server_it_says_what_to_set(open_site: Callable[..., Site]):
    site = open_site(sites.fill_cracked_life)
    tell(site, MAIL)
    assert Worker(site.settings).step()
    assert "BEADLINE_SMTP_HOST" in rows(site)[0].last_error


def test_links_begin_with_host_and_port_unless_an_address_is_given():
    here = Settings(port=8123)
    assert here.address == "http://127.0.0.1:8123"
    assert Settings(public_url="https://beds.example.org").address == "https://beds.example.org"
    for wrong in ("beds.example.org", "https://beds.example.org/", "ftp://beds.example.org"):
        with pytest.raises(ValidationError, match="public_url"):
            Settings(public_url=wrong)


def test_a_mail_password_is_never_sent_readable():
    with pytest.raises(ValidationError, match="readable for others"):
        Settings(smtp_host="mail.example.org", smtp_user="beadline", smtp_security="none")
    assert "hunter" not in repr(Settings(smtp_password=SecretStr("hunter")))


def test_the_digest_gathers_what_passed_its_alert_limit(raised: Site, mailbox: Mailbox):
    now = Clock()
    now.at = now.at.replace(hour=12, minute=0)
    worker = Worker(raised.settings, now=now)
    for episode in (100, 101):
        another_alert(raised, episode=episode)
    tell(raised, replace(MAIL, digest_minute=7 * 60), at=now.at)
    assert worker.step()
    now.pass_by(hours=18, minutes=59)
    assert not worker.step()
    now.pass_by(minutes=1)
    assert worker.step()
    assert [mail["subject"] for mail in mailbox.mails] == [
        "Past action limit: Plover, packing 1",
        "2 alerts, 0 past the action limit",
    ]


def test_quiet_hours_hold_the_alert_limit_back_and_let_the_action_limit_through(
    raised: Site, mailbox: Mailbox
):
    now = Clock()
    now.at = now.at.replace(hour=23, minute=0, second=0, microsecond=0)
    worker = Worker(raised.settings, now=now)
    another_alert(raised, episode=100)
    tell(raised, replace(MAIL, quiet_from_minute=22 * 60, quiet_until_minute=6 * 60), at=now.at)
    assert worker.step()
    assert not worker.step()
    now.pass_by(hours=6, minutes=59)
    assert not worker.step()
    now.pass_by(minutes=1)
    assert worker.step()
    assert [mail["subject"] for mail in mailbox.mails] == [
        "Past action limit: Plover, packing 1",
        "Past alert limit: Plover, packing 1",
    ]


def test_the_worker_escalates_and_says_so(raised: Site, mailbox: Mailbox):
    now = Clock()
    worker = Worker(raised.settings, now=now)
    tell(raised, replace(MAIL, name="Manager", target="manager@example.org"), event="raised", at=now.at)
    tell(raised, replace(MAIL, escalate_after_minutes=30, escalate_to_id=1), at=now.at)
    while worker.step():
        pass
    now.pass_by(minutes=30)
    while worker.step():
        pass
    assert [mail["to"] for mail in mailbox.mails] == [
        "manager@example.org",
        "shift@example.org",
        "manager@example.org",
    ]
    assert mailbox.mails[-1]["subject"] == "Not acknowledged: Plover, packing 1"
    now.pass_by(days=1)
    assert not worker.step()


def work(site: Site, command: str = "work", **settings: str) -> subprocess.Popen[bytes]:
    """`beadline work`, or another command, as a process of its own."""
    code = f"import sys; from beadline.cli import main; sys.exit(main(['{command}']))"
    variables = {"BEADLINE_DATABASE_URL": site.settings.database_url} | settings
    return subprocess.Popen([sys.executable, "-c", code], env=os.environ | variables)


def until(reached: Callable[[], bool]) -> None:
    deadline = time.monotonic() + WITHIN_S
    while not reached():
        assert time.monotonic() < deadline
        time.sleep(0.05)


def test_a_worker_killed_between_claim_and_sent_loses_nothing(raised: Site, hook: Hook):
    tell(raised, RouteFacts(name="Hook", kind="webhook", target=hook.address))
    process = work(raised)
    hook.on_post = process.kill  # SIGKILL while the message is on its way
    hook.status = 503
    assert process.wait(WITHIN_S) == -signal.SIGKILL
    assert states(raised) == [("sending", 1)]
    hook.on_post, hook.status = lambda: None, 204
    now = Clock()
    worker = Worker(raised.settings, now=now)
    assert not worker.step()  # its lease still holds
    now.pass_by(seconds=outbox.LEASE.total_seconds())
    assert worker.step()
    assert states(raised) == [("sent", 2)]
    assert len(hook.got) == 1


def test_several_workers_at_once_send_each_notice_once(raised: Site, hook: Hook):
    """On PostgreSQL each passes over what another holds; on SQLite they wait for each other."""
    routes = 12
    for number in range(routes):
        tell(raised, RouteFacts(name=f"Hook {number}", kind="webhook", target=hook.address))
    together = threading.Barrier(3)

    def work_until_nothing_is_left() -> None:
        worker = Worker(raised.settings)
        together.wait()
        while worker.step():
            pass
        worker.engine.dispose()

    hook.on_post = lambda: time.sleep(0.05)  # long enough for the others to look for work meanwhile
    threads = [threading.Thread(target=work_until_nothing_is_left) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(WITHIN_S)
    until(lambda: states(raised) == [("sent", 1)] * routes)
    told = [content["route"] for content in hook.contents]
    assert sorted(told) == sorted(f"Hook {number}" for number in range(routes))


def test_a_worker_that_is_told_to_stop_finishes_what_it_sends(raised: Site, hook: Hook):
    tell(raised, RouteFacts(name="Hook", kind="webhook", target=hook.address))
    process = work(raised)

    def stop_while_sending() -> None:
        process.send_signal(signal.SIGTERM)
        time.sleep(0.5)

    hook.on_post = stop_while_sending
    assert process.wait(WITHIN_S) == 0
    assert states(raised) == [("sent", 1)]


def test_a_worker_goes_on_after_its_receiver_came_back(raised: Site, hook: Hook):
    hook.stop()
    tell(raised, RouteFacts(name="Hook", kind="webhook", target=hook.address))
    stop = beside(raised.settings)
    try:
        until(lambda: states(raised) == [("waiting", 1)])
        assert rows(raised)[0].last_error == "The receiver can't be reached: ConnectError."
        hook.start()
        with raised.writing() as session:  # half a minute passes
            session.get_one(Notice, 1).next_attempt_at = clock.now()
        until(lambda: states(raised) == [("sent", 2)])
    finally:
        stop()
    assert len(hook.got) == 1
    assert "notices" not in [thread.name for thread in threading.enumerate()]


@pytest.mark.parametrize("sends", ["true", "false"])
def test_the_server_sends_by_itself_unless_told_not_to(raised: Site, hook: Hook, sends: str):
    tell(raised, RouteFacts(name="Hook", kind="webhook", target=hook.address))
    port = free_port()
    process = work(raised, "serve", BEADLINE_PORT=str(port), BEADLINE_SEND_NOTICES=sends)
    try:
        until(lambda: answers(port))
        if sends == "true":
            until(lambda: states(raised) == [("sent", 1)])
        else:
            time.sleep(3)  # longer than a worker pauses
            assert states(raised) == [("waiting", 0)]
        process.send_signal(signal.SIGTERM)
        process.wait(WITHIN_S)
    finally:
        process.kill()
        process.wait()
    assert len(hook.got) == (sends == "true")


def answers(port: int) -> bool:
    with suppress(httpx.TransportError):
        return httpx.get(f"http://127.0.0.1:{port}/sign-in", verify=False).is_success
    return False
