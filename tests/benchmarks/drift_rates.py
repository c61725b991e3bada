"""False alarms and delays of the charts through `drift.replay`, on simulated series.

    python tests/benchmarks/drift_rates.py [beds]

One metric with the whole budget (HETP, upward; asymmetry, both ways) and twelve metrics of three transitions.
False alarms: share of beds with an event within 200 cycles after the baseline; one in 450 cycles is 0.359.
Delays: changes begin 20 cycles after a baseline of 15, phi 0.3; counted from 1, beds that alarmed before
left out.

Whole beds, stated one in 450, in the 200 cycles after the baseline (250 beds): at phi 0 one in 600, 550 and
460 with baselines of 10, 15 and 30, at phi 0.3 440, 450 and 380, at phi 0.5 360, 410 and 450. With a baseline
of 15 and phi 0, 0.3 and 0.5 (300 beds): asymmetry alone one in 654, 448 and 325, HETP alone 741, 584 and 443;
a lone metric that is not autocorrelated is alarmed a little more rarely than within a factor of 1.5. The rate
is not even over a life: while few cycles tell how autocorrelated a bed is, it is one in 100 to 140 in the
first 20 cycles after the baseline at phi 0.5, later one in 500 and rarer; at phi 0.3 one in 250 to 400.

Median delays: HETP alone 5 cycles for a step of 2, 2 for one of 4; asymmetry, both ways, 6, 2 and 28 for a
ramp of 0.05 (200 beds); whole beds with three metrics moving 2, 2 and 16 (50 beds).

What can be reached both ways: a test made for this very ramp and no other change, told its slope, the spread
and the autocorrelation, so that it need learn nothing but the mean (the likelihood ratios of a ramp up or
down summed over all beginnings, the limit set for one false alarm in 450), finds it in 25 cycles at the
median, and in 23 one way. A goal of 24 both ways is out of reach for any test that is fair to other changes
as well.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.science.drift import lives

from beadline.science import drift

HORIZON, AT = 200, 20
WHOLE = ("hetp_moments", "asymmetry", "variance_cv2", "skewness", "early_foot", "late_tail", "width_10_90_cv")
Shift = Callable[[int, str, str], float]


def first_events(
    beds: int,
    cycles: int,
    *,
    baseline: int,
    phi: float,
    metrics: Sequence[str],
    transitions: Sequence[str],
    shift: Shift = lambda cycle, transition, metric: 0.0,
) -> list[int]:
    """Cycles from the end of the baseline to the first event of each bed; 9999 where there is none."""
    found = []
    for seed in range(beds):
        history = lives.readings(
            baseline + cycles, seed=seed, phi=phi, metrics=metrics, transitions=transitions, shift=shift
        )
        alerts = drift.replay(history, drift.Settings(baseline_cycles=baseline)).alerts
        found.append(min((a.opened - baseline for a in alerts), default=9999))
    return found


def false_alarms(beds: int, metrics: Sequence[str], transitions: Sequence[str]) -> None:
    """Print the share of beds with a false alarm, and the rate that it stands for."""
    for baseline, phi in ((10, 0.3), (15, 0.0), (15, 0.3), (15, 0.5), (30, 0.0), (30, 0.3), (30, 0.5)):
        events = first_events(
            beds, HORIZON, baseline=baseline, phi=phi, metrics=metrics, transitions=transitions
        )
        share = float(np.mean(np.array(events) <= HORIZON))
        one_in = -HORIZON / np.log1p(-min(share, 1 - 1e-9)) if share else float("inf")
        print(f"  baseline {baseline}, phi {phi}: {share:.3f} with an alarm, one in {one_in:.0f}", flush=True)


def delays(beds: int, metrics: Sequence[str], transitions: Sequence[str], moving: Sequence[str]) -> None:
    """Print mean and median delay for steps and ramps."""
    start = 15 + AT

    def step(size: float) -> Shift:
        return lambda cycle, transition, metric: size if cycle > start and metric in moving else 0.0

    def ramp(slope: float) -> Shift:
        return lambda cycle, transition, metric: slope * max(cycle - start, 0) if metric in moving else 0.0

    for name, shift in (
        ("step 1", step(1)),
        ("step 2", step(2)),
        ("step 4", step(4)),
        ("ramp 0.02", ramp(0.02)),
        ("ramp 0.05", ramp(0.05)),
    ):
        events = first_events(
            beds, 120, baseline=15, phi=0.3, metrics=metrics, transitions=transitions, shift=shift
        )
        late = np.array([e - AT for e in events if e > AT])
        print(f"  {name}: median {np.median(late):.0f}, mean {np.minimum(late, 101).mean():.1f}", flush=True)


def main(beds: int) -> None:
    """Run all."""
    one = ("wash",)
    for metric in ("hetp_moments", "asymmetry"):
        print(f"{metric} alone")
        false_alarms(beds, (metric,), one)
        delays(beds, (metric,), one, (metric,))
    three = ("wash", "strip", "sanitise")
    print(f"{len(WHOLE)} metrics of three transitions; width and HETP move")
    false_alarms(beds // 2, WHOLE, three)
    delays(beds // 2, WHOLE, three, ("hetp_moments", "variance_cv2", "width_10_90_cv"))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 300)
