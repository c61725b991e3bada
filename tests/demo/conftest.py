from datetime import date

import pytest

from beadline.demo import scenario
from beadline.kit import places

TODAY = date(2026, 3, 2)


@pytest.fixture(scope="session")
def plant():
    return scenario.load_plant(places.folder("seed_data"), today=TODAY)
