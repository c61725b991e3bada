"""Whatever the bytes are, reading them ends in a trace or in a clear refusal."""

from __future__ import annotations

import gzip

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.reading import skids

from beadline import reading

GOOD = {name: write(skids.a_run(60)) for name, write in skids.LAYOUTS.items()}
GOOD["run.cdf"] = skids.netcdf(
    np.arange(50.0), actual_sampling_interval=1.0, detector_unit=b"mS/cm", detector_name=b"Cond"
)
GOOD["run.animl"] = skids.animl([("Volume", "mL", np.arange(20.0)), ("Cond", "mS/cm", np.arange(20.0))])
EASY = settings(deadline=None, derandomize=True, max_examples=150, suppress_health_check=list(HealthCheck))


def ends_well(content: bytes, filename: str) -> None:
    try:
        trace = reading.read(content, filename=filename, flow_m3_s=1e-8)
    except reading.UnreadableFile as error:
        assert error.code and error.what and error.where and error.mend
        return
    for signal in trace.signals:
        assert len(signal.volume_m3) == len(signal.values) >= 1
        assert np.isfinite(signal.volume_m3).all()
        assert not np.isinf(signal.values).any()
        assert (np.diff(signal.volume_m3) > 0).all()
    reading.Profile.from_dict(trace.profile.to_dict())


@EASY
@given(st.binary(max_size=3000))
def test_any_bytes(content):
    ends_well(content, "run.bin")


@EASY
@given(st.text(max_size=2000), st.sampled_from(["utf-8", "utf-16", "utf-16-le", "cp1252"]))
def test_any_text(text, encoding):
    ends_well(text.encode(encoding, errors="replace"), "run.txt")


CELLS = st.sampled_from(
    ["1", "2.5", "-3,75", "1e3", "", "NaN", "Bad", "12:30:01", "2031-11-03", "Wash", '"', "1.234,5",
     "0:04", "-9999", "Page 2", "Mean", "1.234", "容量(L)", "Flow (L/h)", "Event", "<1", "ON",
     "Volume (mL)", "Cond (mS/cm)",
     "mL", "mS/cm", "Time (min)", "Flow (L/h)", "Phase", "-", "°C", "0", "10", "20"]
)  # fmt: skip


@EASY
@given(
    st.lists(st.lists(CELLS, min_size=1, max_size=6), max_size=25),
    st.sampled_from([",", ";", "\t", "  ", "|"]),
)
def test_any_table_of_likely_cells(rows, delimiter):
    ends_well("\n".join(delimiter.join(row) for row in rows).encode(), "run.csv")


@EASY
@given(st.sampled_from(sorted(GOOD)), st.data())
def test_good_files_with_bytes_changed(name, data):
    content = bytearray(GOOD[name])
    for _ in range(data.draw(st.integers(1, 6))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    ends_well(bytes(content), name)


@EASY
@given(st.sampled_from(sorted(GOOD)), st.floats(0, 1))
def test_good_files_cut_short(name, share):
    content = GOOD[name]
    ends_well(content[: int(share * len(content))], name)


@EASY
@given(
    st.binary(max_size=400),
    st.sampled_from(
        [b"CDF\x01", b"\x1f\x8b\x08", b"PK\x03\x04", b"<?xml version='1.0'?>", b"<AnIML>", b"\xff\xfe"]
    ),
)
def test_any_bytes_behind_a_known_start(rest, start):
    ends_well(start + rest, "run")


@EASY
@given(st.binary(max_size=800))
def test_any_bytes_packed(content):
    ends_well(gzip.compress(content), "run.gz")


@pytest.mark.parametrize("name", sorted(GOOD))
def test_the_files_that_are_spoilt_here_are_good(name):
    assert reading.read(GOOD[name], filename=name, flow_m3_s=1e-8).signals
