"""Column types: times with their zone, bytes without loss, arrays as single floats."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from sqlalchemy import Column, Connection, Engine, Integer, MetaData, Table, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import StatementError
from sqlalchemy.types import TypeEngine

from beadline.store.types import CompressedBytes, FloatArray, UtcDateTime

pytestmark = pytest.mark.every_dialect

THINGS = Table(
    "things",
    MetaData(),
    Column("id", Integer, primary_key=True),
    Column("at", UtcDateTime()),
    Column("content", CompressedBytes()),
    Column("curve", FloatArray()),
)


@pytest.fixture
def connection(empty: Engine) -> Iterator[Connection]:
    with empty.begin() as opened:
        THINGS.create(opened)
        yield opened


def round_trip(connection: Connection, name: str, value: object) -> object:
    connection.execute(THINGS.insert(), {name: value})
    return connection.execute(select(THINGS.c[name]).order_by(THINGS.c.id.desc())).scalars().first()


def through(kind: TypeEngine[object], value: object) -> object:
    """Bind and read back without a database, as SQLite's dialect would."""
    dialect = sqlite.dialect()
    return kind.process_result_value(kind.process_bind_param(value, dialect), dialect)  # type: ignore[attr-defined]


def test_a_time_without_a_zone_is_refused(connection: Connection):
    with pytest.raises(StatementError, match="has no time zone"):
        round_trip(connection, "at", datetime(2031, 3, 12, 14, 5))


@pytest.mark.parametrize("hours", [-11, 0, 2, 14])
def test_a_time_comes_back_as_the_same_moment_in_utc(connection: Connection, hours: int):
    value = datetime(2031, 3, 30, 1, 30, 0, 123456, tzinfo=timezone(timedelta(hours=hours)))
    back = round_trip(connection, "at", value)
    assert back == value
    assert isinstance(back, datetime)
    assert back.tzinfo is UTC


@given(
    st.datetimes(min_value=datetime(1900, 1, 1), max_value=datetime(2199, 12, 31), timezones=st.timezones())
)
def test_every_moment_survives(value: datetime):
    assert through(UtcDateTime(), value) == value.astimezone(UTC)


@pytest.mark.parametrize("content", [b"", b"\0", b"1;2\r\n" * 10_000, bytes(range(256))])
def test_bytes_come_back_as_they_went(connection: Connection, content: bytes):
    assert round_trip(connection, "content", content) == content


def test_text_takes_less_room_than_it_came_with(connection: Connection):
    content = b"0.0100,3.7272,-0.98,7.001\n" * 4000
    connection.execute(THINGS.insert(), {"content": content})
    length = "octet_length" if connection.dialect.name == "postgresql" else "length"
    stored = connection.exec_driver_sql(f"select {length}(content) from things").scalar_one()
    assert stored < len(content) / 5


@given(st.binary(max_size=2000))
def test_every_content_survives(content: bytes):
    assert through(CompressedBytes(), content) == content


@given(arrays.arrays(np.float32, st.integers(0, 300), elements=st.floats(width=32, allow_nan=False)))
def test_every_array_of_single_floats_survives(values: np.ndarray):
    back = through(FloatArray(), values)
    assert isinstance(back, np.ndarray)
    assert back.dtype == np.float64
    assert np.array_equal(back, values)


def test_an_array_loses_no_more_than_a_single_float_does(connection: Connection):
    values = np.linspace(0.0, 1.0, 401) ** 3
    back = round_trip(connection, "curve", values)
    assert np.allclose(back, values, rtol=6e-8, atol=0)  # half a unit in the last place of 24 bits


@pytest.mark.parametrize("name", ["at", "content", "curve"])
def test_nothing_stays_nothing(connection: Connection, name: str):
    assert round_trip(connection, name, None) is None


def test_times_have_a_zone_in_a_database_that_knows_zones():
    assert str(UtcDateTime().compile(postgresql.dialect())) == "TIMESTAMP WITH TIME ZONE"
