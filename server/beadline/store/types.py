"""Column types: times that know their zone, arrays, and bytes that are compressed without loss."""

from __future__ import annotations

import zlib
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import DateTime, Dialect, LargeBinary
from sqlalchemy.types import TypeDecorator


class UtcDateTime(TypeDecorator[datetime]):
    """A moment; refuses a time without a zone, gives back UTC."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value!r} has no time zone; give it one before storing it")
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class CompressedBytes(TypeDecorator[bytes]):
    """Bytes, deflated in the database at the level that costs least time for most of the gain."""

    impl = LargeBinary
    cache_ok = True

    def process_bind_param(self, value: bytes | None, dialect: Dialect) -> bytes | None:
        return None if value is None else zlib.compress(value, 2)

    def process_result_value(self, value: Any | None, dialect: Dialect) -> bytes | None:
        return None if value is None else zlib.decompress(bytes(value))


class FloatArray(TypeDecorator[NDArray[np.float64]]):
    """A one-dimensional array, kept as little-endian float32."""

    impl = LargeBinary
    cache_ok = True

    def process_bind_param(self, value: NDArray[np.float64] | None, dialect: Dialect) -> bytes | None:
        return None if value is None else np.asarray(value, dtype="<f4").tobytes()

    def process_result_value(self, value: Any | None, dialect: Dialect) -> NDArray[np.float64] | None:
        if value is None:
            return None
        return np.frombuffer(bytes(value), dtype="<f4").astype(np.float64)
