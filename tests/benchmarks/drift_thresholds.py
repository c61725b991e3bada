"""Make the table of limits in beadline/science/drift/thresholds.py by simulation.

    python tests/benchmarks/drift_thresholds.py > server/beadline/science/drift/thresholds.py

About ten minutes of one core. Normal series with first-order autocorrelation; a limit "one in n" is passed
within 200 cycles after the baseline with the probability 1 - (1 - 1/n)^200, averaged over baselines.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from beadline.science.drift import charts, evidence
from beadline.science.drift.baseline import robust_moments

Floats = NDArray[np.float64]
ONE_IN = (50, 100, 200, 450, 1000, 2000, 4500, 10000, 20000, 45000)
BASELINES = (8, 10, 15, 20, 30, 60)
PHIS = (0.0, 0.15, 0.3, 0.45, 0.6)
KNOWN_WORTH = 60.0
HORIZON, SERIES, CHUNK = 200, 20000, 2000


def autocorrelated(cycles: int, series: int, *, phi: float, rng: np.random.Generator) -> Floats:
    """Stationary series of unit spread [cycles, series]."""
    y = rng.standard_normal((cycles, series))
    for t in range(1, cycles):
        y[t] = phi * y[t - 1] + np.sqrt(1 - phi**2) * y[t]
    return y


def standardised(y: Floats, baseline: int) -> Floats:
    """The series in standard deviations of its own baseline."""
    centre, sd = robust_moments(y[:baseline])
    return (y - centre) / sd


def change_scores(z: Floats, baseline: int, *, phi: float, worth: float) -> Floats:
    """Upward evidence of change after the baseline [cycles, series]."""
    known = np.full(z.shape[1], worth)
    watch = evidence.ChangeEvidence(z.shape[1], phi=phi, known_sd_worth=known)
    watch.extend(z)
    return watch.looks(len(z) - baseline).up


def quantiles(highest: Floats) -> tuple[float, ...]:
    """Limits passed by the right share of series."""
    share = [(1 - 1 / n) ** HORIZON for n in ONE_IN]
    return tuple(round(float(q), 3) for q in np.quantile(highest, share))


def change_row(phi: float, *, worth: float = 0.0) -> tuple[float, ...]:
    """Limits of the evidence of change, upward, for one expected autocorrelation."""
    highest = []
    for seed in range(SERIES // CHUNK):
        rng = np.random.default_rng([seed, round(100 * phi)])
        y = autocorrelated(15 + HORIZON, CHUNK, phi=phi, rng=rng)
        centre, sd = robust_moments(y[:15])
        sd = np.sqrt((14 * sd**2 + worth) / (14 + worth))
        highest.append(change_scores((y - centre) / sd, 15, phi=phi, worth=worth).max(0))
    return quantiles(np.concatenate(highest))


def chart_rows(baseline: int, *, phi: float) -> dict[str, tuple[float, ...]]:
    """Two-sided limits of the individuals and the EWMA chart for one length of baseline."""
    rng = np.random.default_rng([baseline, 7])
    z = standardised(autocorrelated(baseline + HORIZON, SERIES, phi=phi, rng=rng), baseline)
    smooth = np.zeros(SERIES)
    highest = np.zeros(SERIES)
    for row in z[baseline:]:
        smooth = charts.smoothed(smooth, row)
        highest = np.maximum(highest, np.abs(smooth))
    spread = charts.ewma_sd(baseline, phi=phi)
    return {"individuals": quantiles(np.abs(z[baseline:]).max(0)), "ewma": quantiles(highest / spread)}


def main() -> None:
    """Print the module."""
    print('"""Limits by simulation; made by tests/benchmarks/drift_thresholds.py, not by hand."""\n')
    print(f"ONE_IN = {ONE_IN}\nPHIS = {PHIS}\nBASELINES = {BASELINES}\nKNOWN_WORTH = {KNOWN_WORTH}\n")
    for name, worth, what in (
        ("CHANGE", 0.0, "spread learnt from the bed alone"),
        ("CHANGE_KNOWN", KNOWN_WORTH, f"spread known as from {KNOWN_WORTH:.0f} degrees of freedom"),
    ):
        print(f"# Evidence of change, one-sided, {what}: a row for each autocorrelation.")
        print(f"{name} = (")
        for phi in PHIS:
            print(f"    {change_row(phi, worth=worth)},", flush=True)
        print(")\n")
    rows = [chart_rows(baseline, phi=0.3) for baseline in BASELINES]
    for chart in ("individuals", "ewma"):
        print("# Two-sided, in baseline standard deviations: a row for each length of baseline.")
        print(f"{chart.upper()} = (")
        for row in rows:
            print(f"    {row[chart]},")
        print(")\n" if chart == "individuals" else ")")


if __name__ == "__main__":
    main()
