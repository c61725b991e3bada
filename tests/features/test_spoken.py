"""The user sees which chart spoke in a cycle, and why: on the bed's page, before logging, in the reply."""

from __future__ import annotations

import html
import re

import pytest
from tests import builders
from tests.builders import HEALTHY
from tests.sites import PLOVER, Site
from tests.visitors import bearer

from beadline.science.drift import Spoke

COLUMN = f"/columns/{PLOVER.column.asset_tag}"
USUAL = {"baseline_cycles": "15", "baseline_start": "1", "one_false_alarm_in": "450", "action_one_in": "4500"}


def text_of(page: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


def post(site: Site, number: int) -> dict[str, object]:
    file = builders.make_cycle_file(PLOVER, number)
    reply: dict[str, object] = site.post_run(file, credentials=bearer(site.token("operator"))).json()
    return reply


def set_limit(site: Site, name: str, value: str) -> None:
    engineer = site.visitor("engineer")
    form = USUAL | {name: value, "reason": "By procedure."}
    page = engineer.send("/packings/1/baseline", form | {"do": "show"}, 200)
    seal = re.search(r'name="seal" value="(\w+)"', page)
    assert seal
    engineer.send("/packings/1/baseline", form | {"do": "save", "seal": seal[1]})


def test_the_reply_names_every_chart_past_a_limit(life: Site):
    assert post(life, HEALTHY + 1)["verdict"] != "in limits"
    charts = post(life, HEALTHY + 2)["charts"]
    assert isinstance(charts, list)
    assert {"individuals", "ewma", "change"} >= {one["chart"] for one in charts} >= {"change"}
    assert all(one["why"].startswith(f"Past its {one['level']} limit: ") for one in charts)
    counted = [one["of_the_bed"] for one in charts]
    assert counted == sorted(counted, reverse=True)
    assert counted[0]


def test_a_cycle_in_limits_of_a_quiet_bed_names_no_chart_of_the_bed(life: Site):
    page = text_of(life.visitor("viewer").page(f"{COLUMN}/cycles/{HEALTHY}"))
    assert "in limits" in page
    assert "Which chart spoke" not in page


def test_before_logging_and_after_it_the_same_charts_are_named(life: Site):
    post(life, HEALTHY + 1)
    file = builders.make_cycle_file(PLOVER, HEALTHY + 2)
    seen = life.visitor("operator").post(
        "/log-a-run/look", {"packing": "1"}, file=(file.filename, file.content)
    )
    post(life, HEALTHY + 2)
    page = life.visitor("viewer").page(f"{COLUMN}/cycles/{HEALTHY + 2}")
    told = [
        re.search(r"Which chart spoke, and why</h3>(.*?)(<details|<figure|<h3)", text, re.S)
        for text in (seen.text, page)
    ]
    assert told[0] and told[1]
    assert text_of(told[0][1]) == text_of(told[1][1])
    assert "Chart of lasting changes" in text_of(told[1][1])


def test_a_limit_by_procedure_is_named_and_drawn_as_such(life: Site):
    set_limit(life, "hetp_moments_alert_high", "0.001")
    viewer = life.visitor("viewer")
    said = text_of(viewer.page(f"{COLUMN}/cycles/{HEALTHY}"))
    assert "of HETP from moments (wash to strip). Past its alert limit: this cycle's value" in said
    page = viewer.page(COLUMN)
    drawn = re.search(r'"by_procedure":\{"alert":\[null,([\d.e-]+)\],"action":\[null,null\]\}', page)
    assert drawn and float(drawn[1]) == pytest.approx(0.001)  # cm
    assert "by procedure at most 0.00100" in text_of(page)
    assert "version 2; limits for about one false alarm in 450 cycles of the whole bed" in text_of(page)
    assert '<a href="/packings/1/baseline">Baseline and limits</a>' in page


def test_what_does_not_count_against_the_bed_says_so():
    assert not Spoke("individuals", "flow_m3_s", "action").is_of_bed
    assert not Spoke("change", "wash to strip/mean_cv", "alert").is_of_bed
    assert Spoke("procedure", "wash to strip/mean_cv", "alert").is_of_bed
    assert Spoke("change", "wider front", "alert").of == "wider front (several metrics joined)"
    assert "T²" in Spoke("ewma", "wash/curve_scores", "alert").of
