"""Cycles left: kept with a bed, told on Column and on Columns, and silent where nothing is known."""

from __future__ import annotations

from typing import Any

import pytest
from tests import builders
from tests.builders import HEALTHY
from tests.sites import PLOVER, Site
from tests.visitors import bearer

from beadline.features.drift import queries
from beadline.features.overview.service.outlook import cycles_left


def metric(
    name: str, trend: str, *limits: tuple[str, float | None, float | None], **more: Any
) -> dict[str, Any]:
    """What is stored of one metric; limits as (name, 10 %, 90 %)."""
    left = [{"limit": n, "value": 1.0, "low": low, "median": low, "high": high} for n, low, high in limits]
    plain = {
        "key": f"wash/{name}",
        "trend": trend,
        "rising": True,
        "reached": [],
        "left": left,
        "horizon": 200,
    }
    return plain | more


@pytest.mark.parametrize(
    ("stored", "text", "of"),
    [
        ([metric("asymmetry", "steady trend", ("alert_high", 25.2, 60.4))], "25 to 60", "asymmetry, alert"),
        (
            [metric("asymmetry", "steady trend", ("alert_high", 25.2, None))],
            "more than 25",
            "asymmetry, alert",
        ),
        (
            [metric("hetp_moments", "steady trend", ("action_high", None, None))],
            "more than 200",
            "HETP, action",
        ),
        (
            [
                metric("asymmetry", "steady trend", ("alert_high", 25.2, 60.4)),
                metric(
                    "hetp_moments", "steady trend", ("alert_high", 12.0, 18.0), ("action_high", 20.0, 31.0)
                ),
            ],
            "12 to 18",
            "HETP, alert",
        ),
        (
            [metric("hetp_moments", "no steady trend", reached=["alert_high", "action_high"])],
            "past limit",
            "HETP, action",
        ),
    ],
)
def test_the_cell_tells_of_the_limit_that_comes_first(stored: list[dict[str, Any]], text: str, of: str):
    found = cycles_left({"outlook": stored})
    assert found is not None
    assert (found.text, found.of) == (text, of)


@pytest.mark.parametrize(
    "stored", [[], [metric("asymmetry", "no steady trend")], [metric("asymmetry", "steady trend")]]
)
def test_nothing_is_told_without_a_trend_towards_a_limit(stored: list[dict[str, Any]]):
    assert cycles_left({"outlook": stored}) is None


def test_a_steady_bed_has_no_cycles_left_to_tell_and_its_page_says_so(life: Site):
    with life.writing() as session:
        standing = queries.bed_state(session, 1)
        assert standing is not None
        kept = {one["key"]: one["trend"] for one in standing.latest["outlook"]}
    assert set(kept) == {
        *(f"wash to strip/{name}" for name in ("hetp_moments", "asymmetry", "variance_cv2", "mean_cv")),
        "pressure_drop_pa",
    }
    page = life.visitor("viewer").get(f"/columns/{PLOVER.column.asset_tag}")
    assert "Cycles left" in page.text
    assert "Decision support only" in page.text


def test_a_cracked_bed_is_past_its_limits_on_both_pages(life: Site):
    for number in range(HEALTHY + 1, HEALTHY + 5):
        file = builders.make_cycle_file(PLOVER, number)
        assert life.post_run(file, credentials=bearer(life.token("operator"))).status_code == 201
    visitor = life.visitor("viewer")
    assert "past limit" in visitor.get("/").text
    assert "past it now" in visitor.get(f"/columns/{PLOVER.column.asset_tag}").text


def test_a_young_bed_says_that_its_baseline_is_still_learnt(site: Site):
    file = builders.make_cycle_file(PLOVER, 1)
    assert site.post_run(file, credentials=bearer(site.token("operator"))).status_code == 201
    page = site.visitor("viewer").get(f"/columns/{PLOVER.column.asset_tag}").text
    assert "Too few cycles: the baseline is still being learnt." in page
