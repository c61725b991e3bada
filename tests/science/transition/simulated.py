"""Step traces with known truth: analytic fronts, then what a plant does to them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from scipy import special, stats

Array = np.ndarray
_DENSE = np.linspace(-0.5, 6.0, 65_001)


@dataclass(frozen=True)
class Front:
    """A cumulative curve over column volumes; truth is read from it on a dense grid."""

    name: str
    cumulative: Callable[[Array], Array]

    def truth(self) -> dict[str, float]:
        """Moments by sums over a dense grid, levels by interpolation, asymmetry of the derivative at 10 %."""
        v, f = _DENSE, self.cumulative(_DENSE)
        share, middle = np.diff(f), 0.5 * (v[1:] + v[:-1])
        mean = float(share @ middle)
        second, third, fourth = (float(share @ (middle - mean) ** k) for k in (2, 3, 4))
        density = np.gradient(f, v)
        k = int(np.argmax(density))
        tenth = 0.1 * density[k]
        back = k + int(np.argmax(density[k:] < tenth))
        front = k - int(np.argmax(density[k::-1] < tenth))
        a = v[k] - np.interp(tenth, density[front : front + 2], v[front : front + 2])
        b = v[back - 1] + (density[back - 1] - tenth) / (density[back - 1] - density[back]) * 1e-4 - v[k]
        at = {p: float(np.interp(p, f, v)) for p in (0.05, 0.1, 0.1586552539, 0.5, 0.8413447461, 0.9, 0.95)}
        return {
            "mean_cv": mean,
            "variance_cv2": second,
            "skewness": third / second**1.5,
            "excess_kurtosis": fourth / second**2 - 3,
            "hetp_moments": 0.2 * second / mean**2,
            "hetp_width": 0.2 * ((at[0.8413447461] - at[0.1586552539]) / 2 / at[0.5]) ** 2,
            "asymmetry": b / a,
            "v05_cv": at[0.05],
            "v10_cv": at[0.1],
            "v50_cv": at[0.5],
            "v90_cv": at[0.9],
            "v95_cv": at[0.95],
            "width_10_90_cv": at[0.9] - at[0.1],
            "steepest_slope_per_cv": float(density[k]),
        }


def gaussian(mean: float, sd: float) -> Front:
    return Front("gaussian", lambda v: special.ndtr((v - mean) / sd))


def tailing(mu: float, sd: float, tau: float) -> Front:
    return Front("tailing", lambda v: stats.exponnorm.cdf(v, tau / sd, mu, sd))


def fronting(mu: float, sd: float, tau: float) -> Front:
    return Front("fronting", lambda v: stats.exponnorm.sf(2 * mu - v, tau / sd, mu, sd))


def tanks(mean: float, plates: float) -> Front:
    return Front("tanks", lambda v: special.gammainc(plates, np.maximum(v, 0) * plates / mean))


def dispersion(mean: float, peclet: float) -> Front:
    """Ogata and Banks's step response, which is the inverse Gaussian law of variance 2 mean^2 / Pe."""
    return Front("dispersion", lambda v: stats.invgauss.cdf(v, 2 / peclet, scale=mean * peclet / 2))


def two_paths(share: float, early: float, late: float, sd: float) -> Front:
    return Front(
        "two paths",
        lambda v: share * special.ndtr((v - early) / sd) + (1 - share) * special.ndtr((v - late) / sd),
    )


def stagnant(mean: float, plates: float, share: float, tau: float) -> Front:
    """Tanks in series, a share of which passes a slow zone too (Gaussian in place of the gamma law there)."""
    sd = mean / plates**0.5
    return Front(
        "stagnant",
        lambda v: (
            (1 - share) * special.gammainc(plates, np.maximum(v, 0) * plates / mean)
            + share * stats.exponnorm.cdf(v, tau / sd, mean, sd)
        ),
    )


FRONTS = (
    gaussian(0.9, 0.03),
    tailing(0.85, 0.03, 0.05),
    fronting(0.95, 0.03, 0.03),
    tanks(0.9, 300.0),
    dispersion(0.85, 1600.0),
    two_paths(0.08, 0.62, 0.93, 0.035),
    stagnant(0.88, 500.0, 0.1, 0.12),
)


def any_front(rng: np.random.Generator) -> Front:
    """A front of a random kind and size, of the beds and faults that plants have."""
    mean = rng.uniform(0.7, 1.0)
    sd = mean / np.sqrt(rng.uniform(150, 2500))
    kind = rng.integers(7)
    if kind == 0:
        return gaussian(mean, sd)
    if kind == 1:
        return tailing(mean, sd, sd * rng.uniform(0.3, 3))
    if kind == 2:
        return fronting(mean, sd, sd * rng.uniform(0.3, 2))
    if kind == 3:
        return tanks(mean, rng.uniform(60, 2000))
    if kind == 4:
        return dispersion(mean, rng.uniform(150, 3000))
    if kind == 5:
        return two_paths(rng.uniform(0.02, 0.2), mean - sd * rng.uniform(4, 10), mean, sd)
    return stagnant(mean, (mean / sd) ** 2, rng.uniform(0.03, 0.2), rng.uniform(0.05, 0.15))


@dataclass(frozen=True)
class Plant:
    """What stands between the front and the file."""

    points: int = 400
    start_cv: float = -0.2
    end_cv: float = 2.0
    noise: float = 0.003
    slope_per_cv: float = 0.0
    low: float = 2.0
    high: float = 15.0
    down: bool = False
    quantum: float = 0.0
    held: float = 0.0  # a historian keeps the last value until the signal moves by this much
    red: float = 0.0  # lag-one correlation of the noise
    spikes: int = 0
    bubble_points: int = 0
    missing: float = 0.0
    gap_cv: float = 0.0
    repeated: float = 0.0
    uneven: float = 0.0


def trace(front: Front, plant: Plant, rng: np.random.Generator) -> tuple[Array, Array]:
    """Volume [CV] and signal of one simulated record."""
    v = np.linspace(plant.start_cv, plant.end_cv, plant.points)
    if plant.uneven:
        v = np.sort(v + rng.uniform(-0.5, 0.5, v.size) * plant.uneven * (v[1] - v[0]))
    fraction = front.cumulative(v) + plant.slope_per_cv * (v - 1)
    white = rng.normal(0, plant.noise, v.size)
    for k in range(1, v.size if plant.red else 0):
        white[k] = plant.red * white[k - 1] + np.sqrt(1 - plant.red**2) * white[k]
    fraction = fraction + white
    for at in rng.integers(5, v.size - 5, plant.spikes):
        fraction[at] += rng.choice([-1, 1]) * rng.uniform(0.1, 0.8)
    if plant.bubble_points:
        at = rng.integers(10, v.size - 10 - plant.bubble_points)
        fraction[at : at + plant.bubble_points] *= rng.uniform(0.0, 0.3)
    if plant.down:
        fraction = 1 - fraction
    signal = plant.low + (plant.high - plant.low) * fraction
    if plant.quantum:
        q = plant.quantum * (plant.high - plant.low)
        signal = np.round(signal / q) * q
    if plant.held:
        signal = _held(signal, plant.held * (plant.high - plant.low))
    signal[rng.random(v.size) < plant.missing] = np.nan
    for at in np.flatnonzero(rng.random(v.size - 1) < plant.repeated):
        v[at + 1] = v[at]
    if plant.gap_cv:
        at = rng.uniform(plant.start_cv + 0.1, plant.end_cv - 0.1 - plant.gap_cv)
        keep = (v < at) | (v > at + plant.gap_cv)
        v, signal = v[keep], signal[keep]
    return v, signal


def _held(signal: Array, by: float) -> Array:
    kept = signal.copy()
    for k in range(1, kept.size):
        if abs(signal[k] - kept[k - 1]) < by:
            kept[k] = kept[k - 1]
    return kept


@dataclass(frozen=True)
class Dirty:
    """One of the varied dirty traces."""

    front: Front
    plant: Plant
    seed: int
    truth: dict[str, float] = field(default_factory=dict)


def dirty_set(count: int, *, seed: int) -> list[Dirty]:
    """Noisy, coarse, sloping, tailing, two-path, short-windowed, spiky, gappy, held, quantised records."""
    rng = np.random.default_rng(seed)
    found = []
    for k in range(count):
        front = any_front(rng)
        truth = front.truth()
        reach = truth["mean_cv"] + rng.uniform(6, 20) * truth["variance_cv2"] ** 0.5
        plant = Plant(
            points=int(np.exp(rng.uniform(np.log(100), np.log(2000)))),
            start_cv=rng.choice(
                [-0.2, 0.0, max(0.1, truth["v05_cv"] - 8 * (truth["v50_cv"] - truth["v10_cv"]))]
            ),
            end_cv=rng.choice([2.0, max(reach, truth["v95_cv"] + 0.15)]),
            noise=np.exp(rng.uniform(np.log(5e-4), np.log(0.02))),
            slope_per_cv=rng.choice([0.0, rng.normal(0, 0.02)]),
            down=bool(rng.integers(2)),
            quantum=rng.choice([0.0, 0.0, 0.005]),
            held=rng.choice([0.0, 0.0, 0.0, 0.01]),
            red=rng.choice([0.0, 0.0, 0.6]),
            spikes=int(rng.choice([0, 0, 1, 4])),
            bubble_points=int(rng.choice([0, 0, 0, 5])),
            missing=rng.choice([0.0, 0.0, 0.05]),
            gap_cv=rng.choice([0.0, 0.0, 0.0, 0.06]),
            repeated=rng.choice([0.0, 0.0, 0.05]),
            uneven=rng.choice([0.0, 0.8]),
        )
        found.append(Dirty(front, plant, seed * 100_000 + k, truth))
    return found
