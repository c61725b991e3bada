"""What the spread of a bed does to the pool, on the page Column."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from scipy import stats
from tests import sites
from tests.sites import PLOVER, Site

from beadline.features.overview.service.pool import pool_view

GRID = {"grid_end_cv": 2.0, "grid_points": 161}


@dataclass
class Curve:
    id: int
    fraction: np.ndarray
    settings: dict


@dataclass
class Record:
    pool_volume_l: float | None = None
    pool_tank_l: float | None = None


def gaussian(number: int, sd: float) -> Curve:
    volume = np.linspace(0.0, 2.0, 161)
    return Curve(number, stats.norm.cdf(volume, 0.95, sd), GRID)


NORMAL = [gaussian(number, 0.06) for number in range(1, 6)]


@pytest.mark.parametrize("sd", [0.063, 0.072, 0.09])
def test_a_gaussian_front_grows_its_pool_as_its_width(sd: float):
    """A Gaussian's quantiles are fixed multiples of its width (scipy.stats.norm.ppf): growth is sd/sd."""
    seen = pool_view(Record(100.0, 110.0), gaussian(9, sd), NORMAL)
    assert seen is not None
    for line in seen.lines:
        assert line.growth == pytest.approx(sd / 0.06, rel=0.01)
        assert line.litres == pytest.approx(100 * sd / 0.06, rel=0.01)
        assert line.overflows is (100 * sd / 0.06 > 110)


def test_the_tank_that_gets_too_small_is_said():
    """A tank of 100 L that suddenly needs 105 to 120 L; common practice, no source."""
    seen = pool_view(Record(92.0, 100.0), gaussian(9, 0.072), NORMAL)
    assert seen is not None
    assert "about 110 L for a tank of 100 L. The tank is too small" in seen.sentence
    assert seen.kind == "act"
    bare = pool_view(Record(), gaussian(9, 0.072), NORMAL)
    assert bare is not None
    assert bare.sentence == "Holding 99 % of the product now takes 1.20 times the baseline's volume."


def test_a_curve_that_ends_too_early_says_so():
    short = Curve(9, np.minimum(gaussian(9, 0.06).fraction, 0.98), GRID)
    seen = pool_view(Record(92.0, 100.0), short, NORMAL)
    assert seen is not None
    assert [line.growth is None for line in seen.lines] == [False, True, True]
    assert "does not reach far enough" in seen.sentence


def test_without_a_baseline_there_is_no_card():
    assert pool_view(Record(), gaussian(9, 0.06), NORMAL[:2]) is None


def test_the_page_of_a_cracked_bed_shows_it(open_site: Callable[..., Site]):
    cracked = open_site(sites.fill_cracked_life)
    visitor = cracked.visitor("viewer")
    place = f"/columns/{PLOVER.column.asset_tag}/cycles/"
    assert "takes as much as with the baseline" in visitor.page(f"{place}18")
    page = visitor.page(f"{place}25")
    assert "times the baseline" in page
    assert "for a tank of 2.60 L" in page


def test_the_packing_record_takes_the_qualified_pool(site: Site):
    page = site.visitor("viewer").page("/packings/1")
    assert "Pool, as qualified" in page
    assert "2.400 L" in page
