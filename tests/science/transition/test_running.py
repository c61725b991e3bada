"""A front that passed the bed at several velocities is doubted; what other phases run at is not.

Plate height depends on the linear velocity (van Deemter, Zuiderweg and Klinkenberg, Chem. Eng. Sci. 5
(1956) 271, from memory), so plate heights compare only at one velocity. Scatter of a flow meter by some
per cent is common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from beadline.science import transition

VOLUME_CV = np.linspace(-0.3, 2.0, 700)
SIGNAL = 3 + 12 * ndtr((VOLUME_CV - 0.9) / 0.04)
USUAL = 2e-5


def codes(flow: np.ndarray, *, hold_up_cv: float = 0.0) -> set[str]:
    settings = transition.Settings(hold_up_m3=hold_up_cv * 1e-3)
    found = transition.analyse(
        VOLUME_CV * 1e-3, SIGNAL, bed_volume_m3=1e-3, bed_height_m=0.2, settings=settings, flow_m3_s=flow
    )
    assert found.usable
    return {doubt.code for doubt in found.doubts}


def scattered(sd: float) -> np.ndarray:
    return USUAL * (1 + sd * np.random.default_rng(7).normal(size=VOLUME_CV.size))


QUIET = {
    "constant": np.full_like(VOLUME_CV, USUAL),
    "a noisy meter": scattered(0.02),
    "slower before the switch": np.where(VOLUME_CV < 0, USUAL / 2, USUAL),
    "faster behind the front": np.where(VOLUME_CV > 1.2, 2 * USUAL, USUAL),
    "not recorded": np.full_like(VOLUME_CV, np.nan),
    "recorded as zero": np.zeros_like(VOLUME_CV),
}
UNSTEADY = {
    "a ramp": np.interp(VOLUME_CV, [0, 1], [USUAL, 1.5 * USUAL]),
    "a change half way": np.where(VOLUME_CV > 0.5, 1.2 * USUAL, USUAL),
    "a stop": np.where(np.abs(VOLUME_CV - 0.5) < 0.004, 0.0, USUAL),
}


@pytest.mark.parametrize("name", QUIET)
def test_a_steady_flow_is_not_doubted(name: str):
    assert "flow_not_constant" not in codes(QUIET[name])


@pytest.mark.parametrize("name", UNSTEADY)
def test_a_front_at_several_velocities_is_doubted(name: str):
    assert "flow_not_constant" in codes(UNSTEADY[name])


def test_no_number_depends_on_the_flow():
    found = [
        transition.analyse(
            VOLUME_CV * 1e-3, SIGNAL, bed_volume_m3=1e-3, bed_height_m=0.2, flow_m3_s=flow
        ).estimates
        for flow in (None, UNSTEADY["a ramp"])
    ]
    assert found[0] == found[1]


def test_a_flow_of_another_length_is_refused():
    with pytest.raises(ValueError, match="one length"):
        codes(np.ones(3))
