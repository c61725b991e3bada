"""Limits by procedure stand beside those of the baseline, wherever a bed's limits are shown."""

from __future__ import annotations

import pytest

from beadline.features.drift import service as drift
from beadline.features.notices.service import picturing
from beadline.science.drift import FixedLimits, Settings
from beadline.store.tables import BedState

HETP, MEAN = "wash/hetp_moments", "wash/mean_cv"
STATE = {"settings": Settings(fixed_limits={HETP: FixedLimits(action_high=9e-4)}).to_dict()}
STANDING = BedState(
    limits={
        HETP: {"alert": [1e-4, 5e-4], "action": [1e-4, 6e-4]},
        MEAN: {"alert": [0.9, 1.0], "action": [0.8, 1.1]},
    },
    state=STATE,
)


def test_a_limit_that_the_procedure_leaves_open_is_the_baselines():
    assert drift.limits_of(STANDING, HETP, "action") == (None, 9e-4)
    assert drift.limits_of(STANDING, HETP, "alert") == (None, 5e-4)
    assert drift.limits_of(STANDING, MEAN, "alert") == (0.9, 1.0)
    assert drift.limits_of(None, MEAN, "alert") == (None, None)


@pytest.mark.parametrize(("which", "high_cm"), [("alert", 0.05), ("action", 0.09)])
def test_the_picture_of_a_message_shows_the_limits_of_the_page(which: str, high_cm: float):
    """It once showed none where the procedure set the other limit alone."""
    assert picturing._limits(STANDING, HETP, which) == (None, pytest.approx(high_cm))
