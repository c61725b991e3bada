"""Accuracy and speed of the reading of a transition, beside a plain script, in one run.

python -m tests.benchmarks.transition [records] [seed]
"""

from __future__ import annotations

import sys
import time

import numpy as np
from scipy import signal as scipy_signal
from tests.science.transition import simulated

from beadline.science import transition

COMPARED = ("hetp_moments", "asymmetry", "skewness")


def derivative_moments(volume_cv, values):
    """What a plain script does: smooth and differentiate, cut at 1 % of the peak, sum up.

    Plateaus are medians of the first and last twentieth, the window is half the 10-90 % width,
    impossible results are clipped so that single records can't decide the comparison.
    """
    keep = np.isfinite(values) & np.isfinite(volume_cv)
    v, first = np.unique(volume_cv[keep], return_index=True)
    y = values[keep][first]
    edge = max(3, v.size // 20)
    before, after = np.median(y[:edge]), np.median(y[-edge:])
    grid = np.linspace(v[0], v[-1], v.size)
    f = np.interp(grid, v, (y - before) / (after - before))
    width = f.size - int(np.argmax(f[::-1] < 0.9)) - int(np.argmax(f > 0.1))
    window = min(max(5, width // 2 | 1), (f.size - 1) | 1)
    density = scipy_signal.savgol_filter(f, window, 3, deriv=1, delta=grid[1] - grid[0])
    k = int(np.argmax(density))
    start = k - int(np.argmax(density[k::-1] < 0.01 * density[k]))
    end = k + int(np.argmax(density[k:] < 0.01 * density[k])) or f.size
    part = slice(start, (end if end > k else f.size) + 1)
    weight = density[part] / density[part].sum()
    mean = grid[part] @ weight
    second, third = ((grid[part] - mean) ** n @ weight for n in (2, 3))
    back = k + int(np.argmax(density[k:] < 0.1 * density[k]))
    front = k - int(np.argmax(density[k::-1] < 0.1 * density[k]))
    return {
        "hetp_moments": 0.2 * float(np.clip(second, 0, 0.25)) / mean**2,
        "asymmetry": min(float((grid[back] - grid[k]) / max(grid[k] - grid[front], 1e-9)), 10.0),
        "skewness": float(np.clip(third / max(second, 1e-12) ** 1.5, -5, 5)),
    }


def compared(count, *, seed):
    """Errors of both on the same dirty records: relative, of skewness absolute; withheld values left out."""
    ours, plain = ({name: [] for name in COMPARED} for _ in range(2))
    for dirty in simulated.dirty_set(count, seed=seed):
        v, y = simulated.trace(dirty.front, dirty.plant, np.random.default_rng(dirty.seed))
        result = transition.analyse(v, y, bed_volume_m3=1.0, bed_height_m=0.2)
        with np.errstate(all="ignore"):
            script = derivative_moments(v, y)
        for name in COMPARED:
            if result.usable and name in result.estimates:
                scale = 1.0 if name == "skewness" else dirty.truth[name]
                ours[name].append((result.estimates[name].value - dirty.truth[name]) / scale)
                plain[name].append((script[name] - dirty.truth[name]) / scale)
    return ours, plain


def rms(errors):
    return float(np.sqrt(np.mean(np.square(errors))))


def gain(count, *, seed):
    """Geometric mean of the ratios of root mean square errors, plain script over ours."""
    ours, plain = compared(count, seed=seed)
    return float(np.exp(np.mean([np.log(rms(plain[n]) / rms(ours[n])) for n in COMPARED])))


def milliseconds(work, *, repeats=15):
    """Processor time, median and best of several runs: a busy machine doesn't count."""
    work()
    spent = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        spent.append(1e3 * (time.process_time() - start))
    return float(np.median(spent)), min(spent)


def report_accuracy(count, seed):
    ours, plain = compared(count, seed=seed)
    print(f"{count} dirty records, seed {seed}: root mean square (median absolute) error")
    for name in COMPARED:
        one, two = ours[name], plain[name]
        print(
            f"  {name:14s} ours {rms(one):7.3f} ({np.median(np.abs(one)):.4f})   script {rms(two):7.3f} "
            f"({np.median(np.abs(two)):.4f})   n {len(one)}"
        )
    print(f"  geometric mean of the three ratios: {gain(count, seed=seed):.1f}")


def report_clean():
    print("clean fronts, 1,000 points: relative error [%] of variance, mean, asymmetry")
    for front in simulated.FRONTS:
        v, truth = np.linspace(-0.2, 2.0, 1000), front.truth()
        found = transition.analyse(v, front.cumulative(v), bed_volume_m3=1.0, bed_height_m=0.2).estimates
        errors = [100 * (found[n].value / truth[n] - 1) for n in ("variance_cv2", "mean_cv", "asymmetry")]
        print(f"  {front.name:11s}" + "".join(f"{error:10.4f}" for error in errors))


def report_noise():
    print(
        "1 % noise, 300 points, 100 records: bias [%] of mean, variance; rms [%] of variance; cover 1 u, 2 u"
    )
    for front in simulated.FRONTS:
        rng, truth = np.random.default_rng(5), front.truth()
        plant = simulated.Plant(points=300, noise=0.01)
        found = [
            transition.analyse(
                *simulated.trace(front, plant, rng), bed_volume_m3=1.0, bed_height_m=0.2
            ).estimates
            for _ in range(100)
        ]
        mean = np.array([f["mean_cv"].value for f in found]) / truth["mean_cv"] - 1
        kept = [f["variance_cv2"] for f in found if "variance_cv2" in f]
        variance = np.array([e.value for e in kept]) / truth["variance_cv2"] - 1
        away = np.array([abs(f[n].value - truth[n]) / f[n].u for f in found for n in truth if n in f])
        print(
            f"  {front.name:11s}{100 * mean.mean():9.3f}{100 * variance.mean():9.2f}"
            f"{100 * rms(variance):9.2f}{np.mean(away < 1):8.2f}{np.mean(away < 2):6.2f}"
        )


def report_speed():
    print("one record of 1,000 points, noise 0.3 %: milliseconds of processor time, median (best)")
    rng = np.random.default_rng(3)
    for front in simulated.FRONTS:
        v, y = simulated.trace(front, simulated.Plant(points=1000), rng)
        everything = milliseconds(
            lambda v=v, y=y: transition.analyse(v, y, bed_volume_m3=1.0, bed_height_m=0.2)
        )
        script = milliseconds(lambda v=v, y=y: derivative_moments(v, y))
        print(
            f"  {front.name:11s} all metrics with uncertainty {everything[0]:6.2f} ({everything[1]:.2f})"
            f"   derivative script, three numbers {script[0]:5.2f} ({script[1]:.2f})"
        )


if __name__ == "__main__":
    arguments = [int(a) for a in sys.argv[1:3]] + [200, 1][len(sys.argv[1:3]) :]
    report_clean()
    report_noise()
    report_accuracy(*arguments)
    report_speed()
