"""Traces: kept byte for byte, given back only if unharmed."""

from __future__ import annotations

import hashlib
import zlib

import pytest
from sqlalchemy import text
from sqlalchemy.orm import Session
from tests import builders
from tests.sites import PLOVER, Site
from tests.visitors import bearer

from beadline.features.traces import service as traces
from beadline.kit import clock
from beadline.kit.errors import Conflict, NotFound
from beadline.store.tables import User

CONTENTS = {
    "nothing": b"",
    "every byte": bytes(range(256)) * 3,
    "line ends of three kinds": b"a\r\nb\nc\r",
    "text with a mark": "﻿Volume;µS\n1,5;2".encode(),
}


@pytest.mark.parametrize("content", CONTENTS.values(), ids=CONTENTS)
def test_a_file_comes_back_byte_for_byte(session: Session, people: dict[str, User], content: bytes):
    kept = traces.keep(session, content, filename="run.csv", by=people["operator"], at=clock.now())
    session.expire_all()
    again = traces.content_of(session, kept.id)
    assert again.content == content
    assert again.sha256 == hashlib.sha256(content).hexdigest()
    assert again.size_bytes == len(content)


def test_the_same_bytes_are_kept_once_under_their_first_name(session: Session, people: dict[str, User]):
    first = traces.keep(session, b"1;2", filename="first.csv", by=people["operator"], at=clock.now())
    second = traces.keep(session, b"1;2", filename="second.csv", by=people["engineer"], at=clock.now())
    assert second is first
    assert second.filename == "first.csv"


def test_a_long_name_keeps_its_end(session: Session, people: dict[str, User]):
    kept = traces.keep(session, b"1", filename="x" * 400 + ".csv", by=people["operator"], at=clock.now())
    assert len(kept.filename) == 255
    assert kept.filename.endswith("x.csv")


def test_harmed_content_is_refused(session: Session, people: dict[str, User]):
    kept = traces.keep(session, b"1;2\n3;4", filename="run.csv", by=people["operator"], at=clock.now())
    session.execute(
        text("update traces set content = :content where id = :id"),
        {"content": zlib.compress(b"1;2\n3;5"), "id": kept.id},
    )
    session.expire_all()
    with pytest.raises(Conflict, match="not those that were received") as raised:
        traces.content_of(session, kept.id)
    assert raised.value.code == "harmed"


def test_content_that_does_not_even_unpack_is_refused_alike(session: Session, people: dict[str, User]):
    kept = traces.keep(session, b"1;2\n3;4", filename="run.csv", by=people["operator"], at=clock.now())
    session.execute(
        text("update traces set content = :content where id = :id"), {"content": b"\0\0", "id": kept.id}
    )
    session.expire_all()
    with pytest.raises(Conflict, match="not those that were received"):
        traces.content_of(session, kept.id)


def test_an_unknown_trace_is_not_found(session: Session):
    with pytest.raises(NotFound, match="no trace 99"):
        traces.content_of(session, 99)


def test_a_logged_file_can_be_fetched_as_it_was_sent(site: Site):
    file = builders.make_cycle_file(PLOVER, 1)
    reply = site.post_run(file, credentials=bearer(site.token("operator"))).json()
    answer = site.visitor("viewer").get("/traces/1")
    assert answer.content == file.content
    assert answer.headers["x-content-sha256"] == reply["trace_sha256"]
    assert reply["trace_sha256"] == hashlib.sha256(file.content).hexdigest()
    assert "attachment" in answer.headers["content-disposition"]
