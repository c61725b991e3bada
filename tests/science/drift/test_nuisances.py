"""What is not the bed is named and opens no alert; what is the bed does."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from beadline.science import drift
from beadline.science.estimates import Estimate

NAMES = ("wash", "strip", "sanitise")
Alter = Callable[[str, dict[str, float]], None]


def bed(seed: int, alter: Alter | None, *, first: int = 36, cycles: int = 60) -> list[drift.Reading]:
    """A bed with plateaus, positions and widths that hang together; `alter` changes one transition."""
    rng = np.random.default_rng(seed)
    found = []
    for cycle in range(1, cycles + 1):
        values = {}
        for name in NAMES:
            low, high = {"wash": (2.0, 12.0), "strip": (2.0, 85.0), "sanitise": (20.0, 85.0)}[name]
            low, high = (level * (1 + 0.004 * rng.standard_normal()) for level in (low, high))
            mean, log_hetp = 0.9 + 0.003 * rng.standard_normal(), 0.03 * rng.standard_normal()
            v = {"low": low, "high": high, "mean": mean, "variance": 0.002 * np.exp(log_hetp) * mean**2}
            v |= {"early": 0.001 * (1 + 0.1 * rng.standard_normal())}
            if alter is not None and cycle >= first:
                alter(name, v)
            values |= _metrics(name, v, rng)
        values["flow_m3_s"] = 3e-5 * (1 + 0.005 * rng.standard_normal())
        found.append(drift.Reading(cycle, {k: Estimate(float(x), 0.0) for k, x in values.items()}))
    return found


def _metrics(name: str, v: dict[str, float], rng: np.random.Generator) -> dict[str, float]:
    sd = float(np.sqrt(v["variance"]))
    return {
        f"{name}/plateau_before": v["low"],
        f"{name}/plateau_after": v["high"],
        f"{name}/step_height": v["high"] - v["low"],
        f"{name}/mean_cv": v["mean"],
        f"{name}/v50_cv": v["mean"] + 0.001 * rng.standard_normal(),
        f"{name}/v10_cv": v["mean"] - 1.28 * sd + 0.001 * rng.standard_normal(),
        f"{name}/variance_cv2": v["variance"],
        f"{name}/hetp_moments": 0.2 * v["variance"] / v["mean"] ** 2,
        f"{name}/early_foot": v["early"],
    }


def gain(name: str, v: dict[str, float]) -> None:
    v["low"], v["high"] = 1.08 * v["low"], 1.08 * v["high"]


def offset(name: str, v: dict[str, float]) -> None:
    v["low"], v["high"] = v["low"] + 2.0, v["high"] + 2.0


def weak_strip(name: str, v: dict[str, float]) -> None:
    if name == "strip":
        v["high"] *= 0.9


def late_mark(name: str, v: dict[str, float]) -> None:
    v["mean"] -= 0.04


def volume_scale(name: str, v: dict[str, float]) -> None:
    v["mean"], v["variance"] = 1.05 * v["mean"], 1.05**2 * v["variance"]


def channel(name: str, v: dict[str, float]) -> None:
    v["early"], v["variance"] = 1.6 * v["early"], 1.1 * v["variance"]


@pytest.mark.parametrize(
    ("alter", "code"),
    [
        (gain, "probe_gain"),
        (offset, "probe_offset"),
        (weak_strip, "buffer_strength"),
        (late_mark, "start_mark"),
        (volume_scale, "volume_scale"),
    ],
)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_nuisance_is_named_and_opens_no_alert(alter, code, seed):
    life = drift.replay(bed(seed, alter), drift.Settings())
    assert life.alerts == ()
    assert code in {d.code for d in life.judgements[-1].not_the_bed}


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_channel_is_the_bed(seed):
    life = drift.replay(bed(seed, channel), drift.Settings())
    assert 36 <= life.alerts[0].opened <= 39
    assert life.alerts[0].causes[0].code == "channel"


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_fault_is_still_found_behind_a_nuisance(seed):
    def both(name: str, v: dict[str, float]) -> None:
        gain(name, v)
        channel(name, v)

    life = drift.replay(bed(seed, both), drift.Settings())
    assert 36 <= life.alerts[0].opened <= 39


def test_a_trace_less_well_known_than_usual_counts_less():
    history = bed(5, None)
    for reading in history[40:43]:
        for key, value in reading.values.items():
            if "hetp" in key or "variance" in key:
                reading.values[key] = Estimate(value.value * 1.15, 0.3 * value.value)
    assert drift.replay(history, drift.Settings()).alerts == ()
