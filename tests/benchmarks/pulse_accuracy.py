"""Accuracy, coverage and speed of the pulse reading: `python -m tests.benchmarks.pulse_accuracy`."""

from __future__ import annotations

import time

import numpy as np
from scipy import signal as filters
from tests.science.pulse import peaks

SHAPES = {
    "Gaussian": (0.90e-3, 33e-6, 0.0),
    "EMG, tau = sigma": (0.87e-3, 30e-6, 30e-6),
    "EMG, tau = 2 sigma": (0.85e-3, 28e-6, 56e-6),
    "fronting EMG": (0.93e-3, 30e-6, -40e-6),
}
NAMES = ("plates_half_height", "plates_moments", "plates_emg", "asymmetry", "tailing_factor", "retention_cv")


def clean_errors(points: int = 1001) -> dict[str, dict[str, float]]:
    """Relative error [%] of each number on noise-free curves."""
    volume = np.linspace(0, 2e-3, points)
    table = {}
    for label, shape in SHAPES.items():
        truth, found = peaks.truth(*shape), peaks.read(volume, peaks.curve(volume, *shape)).estimates
        table[label] = {name: 100 * (found[name].value / truth[name] - 1) for name in NAMES}
    return table


def noisy_errors(
    repeats: int, points: int = 600, noise: float = 0.01
) -> dict[str, dict[str, tuple[float, ...]]]:
    """Bias [%], spread [%], and coverage at one and two u [%], with noise as a share of the height."""
    volume, rng, table = np.linspace(0, 2e-3, points), np.random.default_rng(1), {}
    for label, shape in SHAPES.items():
        truth, clean = peaks.truth(*shape), peaks.curve(volume, *shape)
        reads = [
            peaks.read(volume, clean / clean.max() + noise * rng.normal(size=points)).estimates
            for _ in range(repeats)
        ]
        table[label] = {}
        for name in NAMES:
            error = np.array([found[name].value - truth[name] for found in reads])
            score = np.abs(error) / np.array([found[name].u for found in reads])
            relative = 100 * error / truth[name]
            covered = (100 * np.mean(score < 1), 100 * np.mean(score < 2))
            table[label][name] = (float(relative.mean()), float(relative.std()), *map(float, covered))
    return table


def plain_script(volume: np.ndarray, height: np.ndarray) -> float:
    """What a short script does: widths from scipy, no baseline, no uncertainty."""
    top = int(np.argmax(height))
    width = filters.peak_widths(height, [top], rel_height=0.5)[0][0] * (volume[1] - volume[0])
    return float(5.54 * (volume[top] / width) ** 2)


def speed(repeats: int = 30) -> tuple[float, float]:
    """Median time [ms] of a whole reading and of the plain script, 1,000 points with noise."""
    volume, rng = np.linspace(0, 2e-3, 1000), np.random.default_rng(2)
    height = peaks.curve(volume, 0.87e-3, 30e-6, 30e-6)
    height = height / height.max() + 0.005 * rng.normal(size=1000)
    times = []
    for work in (peaks.read, plain_script):
        taken = []
        for _ in range(repeats):
            start = time.perf_counter()
            work(volume, height)
            taken.append(1e3 * (time.perf_counter() - start))
        times.append(float(np.median(taken)))
    return times[0], times[1]


def main(repeats: int = 40) -> None:
    """Print the tables."""
    print("Noise-free, 1001 points over 2 CV: relative error [%]")
    for label, row in clean_errors().items():
        print(f"  {label:20s}", "  ".join(f"{name} {value:+.4f}" for name, value in row.items()))
    print(f"1 % noise, 600 points over 2 CV, {repeats} repeats: bias, spread, within u, within 2 u [%]")
    for label, rows in noisy_errors(repeats).items():
        for name, (bias, spread, one, two) in rows.items():
            print(f"  {label:20s} {name:20s} {bias:+6.2f} {spread:6.2f} {one:5.0f} {two:5.0f}")
    ours, plain = speed()
    print(f"Speed, 1,000 points: whole reading with uncertainty {ours:.1f} ms, plain script {plain:.2f} ms")


if __name__ == "__main__":
    main()
