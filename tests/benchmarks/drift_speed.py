"""Processor time to judge a bed of 300 cycles with 12 metrics of three transitions.

    python -m tests.benchmarks.drift_speed

The whole life; one further cycle, from the state as it is stored to the state to store; and one from a state
in memory. The best of several tries, on a core that others use too: 57, 1.7 and 0.8 ms (goals: 60 and 2).
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Mapping
from typing import Any

from tests.science.drift import lives

from beadline.science import drift

CYCLES = 300


def best_ms(work: Callable[[], object], *, tries: int) -> float:
    """Least processor time of several tries [ms]."""
    times = []
    for _ in range(tries):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return 1000 * min(times)


def taken_further(stored: Mapping[str, Any], reading: drift.Reading) -> Mapping[str, Any]:
    """Judge one further cycle from a stored state, and give the state back."""
    return drift.advance(drift.State.from_dict(stored), reading)[0].to_dict()


def main() -> None:
    """Print the three times."""
    history = lives.readings(CYCLES + 1, seed=1)
    state = drift.replay(history[:CYCLES], drift.Settings()).state
    stored = json.loads(json.dumps(state.to_dict()))
    print(f"replay: {best_ms(lambda: drift.replay(history[:CYCLES], drift.Settings()), tries=10):.1f} ms")
    print(f"one further cycle: {best_ms(lambda: taken_further(stored, history[CYCLES]), tries=50):.2f} ms")
    print(
        f"from a state in memory: {best_ms(lambda: drift.advance(state, history[CYCLES]), tries=50):.2f} ms"
    )


if __name__ == "__main__":
    main()
