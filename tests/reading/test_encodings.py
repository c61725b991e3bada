"""A skid may change the encoding of its files; a profile made from one must read the next."""

from __future__ import annotations

import numpy as np
import pytest

from beadline import reading

TEXT = "Volume [mL];Conductivity [mS/cm]\n" + "".join(f"{v};{5 + v / 10}\n" for v in range(40))


@pytest.mark.parametrize("first", ["utf-16", "utf-8", "utf-8-sig", "cp1252"])
@pytest.mark.parametrize("second", ["utf-16", "utf-8", "utf-8-sig", "cp1252"])
def test_a_profile_reads_files_in_another_encoding(first: str, second: str) -> None:
    profile = reading.read(TEXT.encode(first), filename="a.csv").profile
    trace = reading.read(TEXT.encode(second), filename="b.csv", profile=profile)
    assert np.array_equal(trace.signals[0].values, 5 + np.arange(40) / 10)
