"""Processor time to judge a bed of 300 cycles with 12 metrics of three transitions.

    python -m tests.benchmarks.drift_speed

The whole life, one further cycle, and taking up the stored state again: the best of several tries, in ms.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable

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


def main() -> None:
    """Print the three times."""
    history = lives.readings(CYCLES + 1, seed=1)
    state = drift.replay(history[:CYCLES], drift.Settings()).state
    stored = json.loads(json.dumps(state.to_dict()))
    print(f"replay: {best_ms(lambda: drift.replay(history[:CYCLES], drift.Settings()), tries=10):.1f} ms")
    print(f"one further cycle: {best_ms(lambda: drift.advance(state, history[CYCLES]), tries=30):.2f} ms")
    print(f"stored state taken up: {best_ms(lambda: drift.State.from_dict(stored), tries=30):.2f} ms")


if __name__ == "__main__":
    main()
