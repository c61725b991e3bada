"""A run that comes late is said to, and the same run in another file is known again."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import text
from tests import builders
from tests.builders import HEALTHY, PACKED
from tests.sites import DOTTEREL, PLOVER, Site
from tests.visitors import basic

FILE = builders.make_cycle_file(PLOVER, 1)


def day(number: int) -> str:
    return (PACKED + timedelta(days=number)).isoformat()


def rewritten() -> dict[str, bytes]:
    """The same signals, written otherwise."""
    content = FILE.content
    ends = content.replace(b"\r\n", b"\n") if b"\r\n" in content else content.replace(b"\n", b"\r\n")
    return {"line ends": ends, "blank lines at the end": content + b"\n\n"}


@pytest.mark.parametrize("how", ["line ends", "blank lines at the end"])
def test_the_same_signals_in_another_file_are_known_again(site: Site, how: str):
    first = site.post_run(FILE, credentials=basic("operator"))
    stored = site.counts()
    again = site.post_run(("copy.csv", rewritten()[how]), credentials=basic("operator"))
    assert (first.status_code, again.status_code) == (201, 409)
    reply = again.json()
    assert reply["code"] == "looks-recorded"
    assert f"recorded as cycle 1, from {FILE.filename}" in str(reply)
    after = site.counts()
    assert {name: after[name] for name in ("cycles", "traces")} == {
        name: stored[name] for name in ("cycles", "traces")
    }


def test_who_says_that_it_is_another_run_is_believed_and_that_is_recorded(site: Site):
    site.post_run(FILE, credentials=basic("operator"))
    copy = ("copy.csv", rewritten()["line ends"])
    answer = site.post_run(copy, credentials=basic("operator"), another_run="true")
    assert (answer.status_code, answer.json()["cycle"]) == (201, 2)
    with site.engine.connect() as connection:
        after = connection.execute(text("select after from records order by id desc limit 1")).scalar_one()
    assert "another_run" in str(after)


def test_the_page_asks_before_it_records_the_same_signals(site: Site):
    site.post_run(FILE, credentials=basic("operator"))
    operator, copy = site.visitor("operator"), ("copy.csv", rewritten()["line ends"])
    seen = operator.post("/log-a-run/look", {"packing": "1"}, file=copy).text
    assert "This looks like the run recorded as cycle 1" in seen
    assert 'name="another_run"' in seen
    refused = operator.post("/log-a-run", {"packing": "1"}, file=copy)
    assert refused.status_code == 409
    assert 'name="another_run"' in refused.text
    answer = operator.post("/log-a-run", {"packing": "1", "another_run": "yes"}, file=copy)
    assert answer.status_code == 303


def test_a_file_of_another_bed_is_named_with_its_bed(site: Site):
    site.post_run(FILE, credentials=basic("operator"))
    copy = ("copy.csv", rewritten()["line ends"])
    answer = site.post_run(copy, credentials=basic("operator"), column=DOTTEREL.column.name)
    assert answer.status_code == 409
    assert "cycle 1 of Plover, packing 1" in str(answer.json())


def test_the_signals_of_a_voided_run_can_be_logged_again(site: Site):
    site.post_run(FILE, credentials=basic("operator"))
    site.visitor("engineer").post("/cycles/1/void", {"reason": "Wrong batch."})
    copy = ("copy.csv", rewritten()["line ends"])
    assert site.post_run(copy, credentials=basic("operator")).status_code == 201


def test_other_runs_of_the_bed_are_not_alike(life: Site):
    with life.engine.connect() as connection:
        hashes = connection.execute(text("select signals_sha256 from cycles")).scalars().all()
    assert len(set(hashes)) == HEALTHY
    assert "" not in hashes


def test_a_run_that_started_before_the_newest_is_recorded_with_a_warning(site: Site):
    credentials = basic("operator")
    for number in (1, 3):
        file = builders.make_cycle_file(PLOVER, number)
        said = site.post_run(file, credentials=credentials, started_at=day(number), number=str(number)).json()
        assert said["warnings"] == []
    late = builders.make_cycle_file(PLOVER, 2)
    reply = site.post_run(late, credentials=credentials, started_at=day(2)).json()
    assert reply["cycle"] == 4
    (warning,) = reply["warnings"]
    assert "before cycle 3, the newest" in warning
    assert "fits as cycle 2, which is free" in warning


def test_the_page_says_so_and_fills_in_the_free_number(site: Site):
    credentials = basic("operator")
    for number in (1, 3):
        file = builders.make_cycle_file(PLOVER, number)
        site.post_run(file, credentials=credentials, started_at=day(number), number=str(number))
    late = builders.make_cycle_file(PLOVER, 2)
    form = {"packing": "1", "started_at": f"{PACKED + timedelta(days=2):%Y-%m-%dT%H:%M}"}
    seen = site.visitor("operator").post("/log-a-run/look", form, file=(late.filename, late.content)).text
    assert "fits as cycle 2, which is free" in seen
    assert 'data-number="2"' in seen
    assert "cycle 2 of Plover" in seen


def test_where_no_number_is_free_it_says_between_which(site: Site):
    credentials = basic("operator")
    for number in (1, 2):
        file = builders.make_cycle_file(PLOVER, number)
        site.post_run(file, credentials=credentials, started_at=day(2 * number))
    late = builders.make_cycle_file(PLOVER, 3)
    (warning,) = site.post_run(late, credentials=credentials, started_at=day(3)).json()["warnings"]
    assert "none is free between 1 and 2" in warning


def test_a_start_before_the_bed_was_packed_is_not_taken_for_an_older_run(site: Site):
    site.post_run(FILE, credentials=basic("operator"))
    newer = builders.make_cycle_file(PLOVER, 2).content
    dated = ("dated.csv", newer.replace(b"2025-01-0", b"2001-01-0").replace(b".01.2025", b".01.2001"))
    assert dated[1] != newer
    seen = site.visitor("operator").post("/log-a-run/look", {"packing": "1"}, file=dated).text
    assert "before this bed was packed" in seen
    assert "An older run?" not in seen


def test_a_number_that_is_given_is_not_questioned(site: Site):
    credentials = basic("operator")
    site.post_run(builders.make_cycle_file(PLOVER, 2), credentials=credentials, started_at=day(2), number="2")
    early = builders.make_cycle_file(PLOVER, 1)
    reply = site.post_run(early, credentials=credentials, started_at=day(1), number="1").json()
    assert (reply["cycle"], reply["warnings"]) == (1, [])
