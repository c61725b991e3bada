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


def run(drop_pa: float | None) -> SimpleNamespace:
    return SimpleNamespace(conditions={"pressure_drop_pa": None if drop_pa is None else [drop_pa, 100.0]})


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


@pytest.mark.parametrize("drop_pa", [None, -50.0])
def test_without_a_drop_there_is_no_card(drop_pa: float | None):
    assert pressure_view(bed(), run(drop_pa)) is None


def test_the_page_shows_it_and_defers_to_the_site(open_site: Callable[..., Site]):
    page = (
        open_site(sites.fill_cracked_life)
        .visitor("viewer")
        .page(f"/columns/{PLOVER.column.asset_tag}/cycles/18")
    )
    assert "The pressure drop is" in page
    assert "hardware rating" in page
    assert "equipment ratings decide" in page
