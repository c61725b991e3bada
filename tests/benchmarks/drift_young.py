"""What the experience of sister beds does for a young bed: false alarms and delays in its first cycles.

    python tests/benchmarks/drift_young.py [beds]

Series of phi 0.3; five sister beds with 15 cycles each make the experience. Counted: beds with an event
within their first 15 cycles when nothing happens, and the cycle in which a step of 4 standard deviations
at cycle 6 is found. Default settings: one false alarm in 450 cycles.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.science.drift import lives

from beadline.science import drift

YOUNG, LATER, AT, SIZE = 15, 30, 6, 4.0
SISTERS, BEDS_OF_A_FLEET = 5, 10
WHOLE = ("hetp_moments", "asymmetry", "variance_cv2", "skewness", "early_foot", "late_tail", "width_10_90_cv")
MOVING = ("hetp_moments", "variance_cv2", "width_10_90_cv")


def experience(fleet: int, metrics: Sequence[str], transitions: Sequence[str]) -> drift.Prior:
    """What the sister beds of a plant have shown."""
    beds = [
        lives.readings(YOUNG, seed=100_000 + fleet * SISTERS + n, metrics=metrics, transitions=transitions)
        for n in range(SISTERS)
    ]
    return drift.pool(beds, drift.Settings())


def first_events(
    beds: int, metrics: Sequence[str], transitions: Sequence[str], *, size: float, known: bool
) -> list[int]:
    """Cycle of the first event of each bed; 9999 where there is none."""

    def step(cycle: int, transition: str, metric: str) -> float:
        return size if cycle >= AT and metric in MOVING else 0.0

    found = []
    for seed in range(beds):
        if seed % BEDS_OF_A_FLEET == 0:
            prior = experience(seed // BEDS_OF_A_FLEET, metrics, transitions)
        cycles = LATER if size else YOUNG
        history = lives.readings(cycles, seed=seed, metrics=metrics, transitions=transitions, shift=step)
        alerts = drift.replay(history, drift.Settings(), prior=prior if known else None).alerts
        found.append(min((a.opened for a in alerts if not size or a.opened >= AT), default=9999))
    return found


def main(beds: int) -> None:
    """Print false alarms and delays with and without experience."""
    for name, metrics, transitions in (
        ("HETP alone", ("hetp_moments",), ("wash",)),
        ("seven metrics of two transitions", WHOLE, ("wash", "strip")),
    ):
        print(name)
        for known in (False, True):
            quiet = first_events(beds, metrics, transitions, size=0.0, known=known)
            moved = np.array(first_events(beds // 2, metrics, transitions, size=SIZE, known=known))
            print(
                f"  {'with' if known else 'without'} experience: "
                f"{sum(cycle <= YOUNG for cycle in quiet)} of {beds} quiet beds alarmed by cycle {YOUNG}; "
                f"step at cycle {AT} found in cycle {np.median(moved):.0f} at the median, "
                f"by cycle {YOUNG} in {np.mean(moved <= YOUNG):.0%}",
                flush=True,
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
