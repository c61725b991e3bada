"""How close a cycle's pressure comes to its limits, on the page Column."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace

import pytest
from tests import sites
from tests.sites import PLOVER, Site

from beadline.features.overview.service.pressure import pressure_view


def bed(packed_kpa: float | None = 200.0) -> SimpleNamespace:
    """A bed in hardware that stops at 3 bar, as is usual; common practice, no source."""
    lot = SimpleNamespace(resin=SimpleNamespace(pressure_limit_kpa=250.0))
    column = SimpleNamespace(pressure_rating_kpa=300.0)
    return SimpleNamespace(packing_pressure_kpa=packed_kpa, lot=lot, column=column)


def run(drop_pa: float | None, inlet_pa: float | None = None) -> SimpleNamespace:
    pairs = {"pressure_drop_as_run_pa": drop_pa, "inlet_pressure_pa": inlet_pa}
    return SimpleNamespace(
        conditions={"pressure_drop_pa": [0.5e5, 100.0]}
        | {name: None if value is None else [value, 100.0] for name, value in pairs.items()}
    )


def test_the_hardware_feels_the_pressure_before_the_column_and_the_bed_its_drop():
    """Which pressure acts on what; common practice, no source."""
    seen = pressure_view(bed(), run(1.0e5, 2.4e5))
    assert seen is not None
    assert {line.name: round(line.left_bar, 3) for line in seen.lines} == {
        "packing pressure": 1.0,
        "resin limit": 1.5,
        "hardware rating": 0.6,
    }
    assert "before the column it was 2.40 bar" in seen.sentence


def test_a_drop_that_was_not_stored_as_run_is_replaced_by_the_corrected_one():
    seen = pressure_view(bed(), run(None))
    assert seen is not None
    assert seen.lines[0].left_bar == pytest.approx(1.5)
    assert "no pressure before the column was recorded" in seen.sentence


@pytest.mark.parametrize(("drop_pa", "kind"), [(1.0e5, "ok"), (1.9e5, "watch"), (2.1e5, "act")])
def test_the_nearest_limit_decides(drop_pa: float, kind: str):
    seen = pressure_view(bed(), run(drop_pa))
    assert seen is not None
    assert seen.kind == kind
    assert [line.left_bar for line in seen.lines] == pytest.approx(
        [limit - drop_pa / 1e5 for limit in (2, 2.5, 3)]
    )


def test_running_above_the_packing_pressure_warns_of_a_void():
    """Operating above the packing pressure opens voids; common practice, no source."""
    seen = pressure_view(bed(), run(2.1e5))
    assert seen is not None
    assert "open a void" in seen.sentence


def test_limits_that_nobody_recorded_are_left_out():
    seen = pressure_view(bed(None), run(1.0e5))
    assert seen is not None
    assert [line.name for line in seen.lines] == ["resin limit", "hardware rating"]


@pytest.mark.parametrize("pair", [None, [-50.0, 1.0]])
def test_without_a_drop_there_is_no_card(pair: list[float] | None):
    assert pressure_view(bed(), SimpleNamespace(conditions={"pressure_drop_pa": pair})) is None


def test_the_page_shows_it_and_defers_to_the_site(open_site: Callable[..., Site]):
    page = (
        open_site(sites.fill_cracked_life)
        .visitor("viewer")
        .page(f"/columns/{PLOVER.column.asset_tag}/cycles/18")
    )
    assert "bar as it was run" in page
    assert "hardware rating" in page
    assert "equipment ratings decide" in page
