"""Time and memory: a run in milliseconds, a large file within five times its size."""

from __future__ import annotations

import io
import subprocess
import sys
import time

import numpy as np
import pandas as pd
import pytest
from tests.reading import skids

from beadline import reading

HEADER = "Volume (mL),Cond (mS/cm),UV (mAU),Pressure (bar),pH,Temp (°C),Phase\n"


def rows(count: int) -> str:
    return "".join(
        f"{i / 100:.2f},{12 + i % 7:.4f},{i % 11:.3f},1.5,7.01,21.5,{'Load' if i % 9000 < 4000 else 'Wash'}\n"
        for i in range(count)
    )


def test_a_run_of_1500_rows_is_quick():
    content = skids.LAYOUTS["comma-point.csv"](skids.a_run(1500))
    reading.read(content, filename="run.csv")  # loads the units
    took = []
    for _ in range(15):
        start = time.process_time()
        reading.read(content, filename="run.csv")
        took.append(time.process_time() - start)
    assert min(took) < 0.05  # 10 ms on an idle machine


def test_reading_by_profile_is_at_most_a_few_times_pandas():
    content = (HEADER + rows(100_000)).encode()
    profile = reading.read(content, filename="run.csv").profile

    def best(work) -> float:
        took = []
        for _ in range(3):
            start = time.process_time()
            work()
            took.append(time.process_time() - start)
        return min(took)

    ours = best(lambda: reading.read(content, filename="run.csv", profile=profile))
    pandas = best(lambda: pd.read_csv(io.BytesIO(content)))
    assert ours < 4 * pandas


def peak_mb(megabytes: int) -> tuple[float, float]:
    """Read a file in a process of its own; return its size and how far the peak memory grew."""
    program = f"""
import resource
from beadline import reading
from tests.reading.test_size import HEADER, rows
block = rows(9000)
rest = [line[line.index(","):] for line in block.splitlines()]
content = b"".join([HEADER.encode(), *(
    "".join(f"{{(k * 9000 + i) / 100:.2f}}{{end}}\\n" for i, end in enumerate(rest)).encode()
    for k in range({megabytes} * 2**20 // len(block))
)])
reading.read(content[:100_000].rsplit(b"\\n", 1)[0], filename="small.csv")
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
trace = reading.read(content, filename="big.csv")
assert len(trace.signals[0].values) > 10_000 * {megabytes}
after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(len(content) / 2**20, (after - before) / 1024)
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    size, grown = done.stdout.split()
    return float(size), float(grown)


@pytest.mark.skipif(sys.platform == "win32", reason="peak memory is measured by a POSIX call")
def test_memory_stays_below_five_times_the_file():
    size, grown = peak_mb(40)
    assert size + grown < 5 * size


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="peak memory is measured by a POSIX call")
def test_200_megabytes_are_read_within_five_times_their_size():
    size, grown = peak_mb(200)
    assert size > 195
    assert size + grown < 5 * size


def test_thousands_of_marks_over_many_blocks_are_found_once():
    trace = reading.read((HEADER + rows(200_000)).encode(), filename="run.csv")
    assert [mark.name for mark in trace.marks[:3]] == ["Load", "Wash", "Load"]
    assert len(trace.marks) == 45
    assert len(trace.signals[0].values) == 200_000
    np.testing.assert_allclose(trace.signals[0].volume_m3[-1], 1999.99e-6)


def test_an_error_far_down_still_names_its_line():
    content = (HEADER + rows(150_000)).replace("1400.00,", "1400.00,x", 1).encode()
    with pytest.raises(reading.UnreadableFile, match="line 140002, column 2"):
        reading.read(content, filename="run.csv")
