"""What open pages hear, as server-sent events (WHATWG HTML, 9.2): retry, event, id and data lines."""

from __future__ import annotations

import json

from tests import builders
from tests.sites import PLOVER, Site
from tests.visitors import bearer

ADDRESS = "/api/v1/records/news"


def heard(text: str) -> list[dict[str, str]]:
    """The events of a stream, each as its fields."""
    blocks = [block for block in text.split("\n\n") if block]
    return [dict(line.split(": ", 1) for line in block.split("\n")) for block in blocks]


def test_a_page_that_opens_hears_only_what_comes_from_now_on(life: Site):
    answer = life.visitor("viewer").get(ADDRESS)
    assert answer.headers["content-type"].startswith("text/event-stream")
    retry, here = heard(answer.text)
    assert int(retry["retry"]) > 0
    assert (here["event"], here["id"]) == ("here", here["data"])


def test_a_page_that_was_away_hears_what_it_missed_in_order(life: Site):
    visitor, credentials = life.visitor("viewer"), bearer(life.token("operator"))
    known = heard(visitor.get(ADDRESS).text)[-1]["id"]
    for number in (21, 22):
        life.post_run(builders.make_cycle_file(PLOVER, number), credentials=credentials)
    answer = visitor.client.get(ADDRESS, headers={"Last-Event-ID": known})
    assert visitor.get(f"{ADDRESS}?after={known}").text == answer.text
    told = [json.loads(event["data"]) for event in heard(answer.text) if event.get("event") == "news"]
    cycles = [one["said"] for one in told if one["thing"] == "cycle"]
    assert [said.split(" of ")[0] for said in cycles] == ["Logged cycle 21", "Logged cycle 22"]
    assert any(one["thing"] == "alert" for one in told)
    assert all(one["thing"] != "trace" for one in told)


def test_a_number_that_is_none_is_taken_as_a_page_that_opens(site: Site):
    answer = site.visitor("viewer").client.get(ADDRESS, headers={"Last-Event-ID": "x"})
    assert [event["event"] for event in heard(answer.text) if "event" in event] == ["here"]
