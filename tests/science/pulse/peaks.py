"""Peaks whose every number is known, to read back."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from scipy import optimize, stats

from beadline.science import pulse

REFERENCE = Path(__file__).parent.parent / "reference"
BED = {"bed_volume_m3": 1e-3, "bed_height_m": 0.2, "bead_diameter_m": 90e-6}


def cases(name: str) -> list[Any]:
    """Cases of one reference table."""
    return json.loads((REFERENCE / f"{name}.json").read_text())["cases"]


def curve(volume: np.ndarray, mu: float, sigma: float, tau: float = 0.0) -> np.ndarray:
    """Exponentially modified Gaussian from scipy's exponnorm; a negative tau mirrors it about mu."""
    if tau == 0:
        return stats.norm.pdf(volume, mu, sigma)
    place = volume if tau > 0 else 2 * mu - volume
    return stats.exponnorm.pdf(place, abs(tau) / sigma, loc=mu, scale=sigma)


def read(volume: np.ndarray, signal: np.ndarray, **more: Any) -> pulse.PulseResult:
    """Analyse on the bed that most tests use."""
    return pulse.analyse(volume, signal, **{**BED, **more})


def truth(mu: float, sigma: float, tau: float) -> dict[str, float]:
    """Exact numbers of a peak, by root finding on scipy's density."""

    def height(volume: float) -> float:
        return float(curve(np.array([volume]), mu, sigma, tau)[0])

    wide = sigma + abs(tau)
    found = optimize.minimize_scalar(
        lambda v: -height(v),
        bounds=(mu - 3 * wide, mu + 3 * wide),
        method="bounded",
        options={"xatol": 1e-12},
    )
    apex, top = float(found.x), -float(found.fun)
    far = 9 * sigma + 25 * abs(tau)

    def width(share: float) -> tuple[float, float]:
        front = optimize.brentq(lambda v: height(v) - share * top, apex - far, apex, xtol=1e-15)
        back = optimize.brentq(lambda v: height(v) - share * top, apex, apex + far, xtol=1e-15)
        return apex - front, back - apex

    half, tenth, twentieth = width(0.5), width(0.1), width(0.05)
    return {
        "plates_half_height": 5.54 * (apex / sum(half)) ** 2,
        "plates_moments": (mu + tau) ** 2 / (sigma**2 + tau**2),
        "plates_emg": (mu + tau) ** 2 / (sigma**2 + tau**2),
        "asymmetry": tenth[1] / tenth[0],
        "tailing_factor": sum(twentieth) / (2 * twentieth[0]),
        "retention_cv": apex / BED["bed_volume_m3"],
        "porosity": (mu + tau) / BED["bed_volume_m3"],
    }
