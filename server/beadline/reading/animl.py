"""AnIML: series of values in XML, read as they stream by."""

from __future__ import annotations

import base64
import binascii
import io
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from xml.etree.ElementTree import Element, ParseError

import numpy as np
from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import iterparse

from beadline.reading import series, started
from beadline.reading.content import LARGEST
from beadline.reading.errors import UnreadableFile
from beadline.reading.facts import Facts
from beadline.reading.profile import Profile
from beadline.reading.trace import Floats, Trace
from beadline.reading.wording import shown

_BINARY = {"Float32": "<f4", "Float64": "<f8", "Int32": "<i4", "Int64": "<i8"}
_VALUES = ("I", "L", "F", "D", "S")
_MOST = LARGEST // 8  # values in all series


def is_xml(content: bytes) -> bool:
    """Tell whether bytes are XML of any kind."""
    start = content[:400].replace(b"\x00", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    return start.startswith((b"<?xml", b"<!DOCTYPE", b"<!--")) or (start[:1] == b"<" and b">" in content)


def read(content: bytes, filename: str, profile: Profile | None, given: Facts) -> Trace:
    """Read all series sets of an AnIML document.

    References
    ----------
    AnIML core schema, namespace urn:org:astm:animl:schema:core:draft:0.90.
    """
    reader = _Reader(filename)
    try:
        for event, element in iterparse(io.BytesIO(content), events=("start", "end"), forbid_dtd=True):
            reader.start(element) if event == "start" else reader.end(element)
    except DefusedXmlException as error:
        raise _broken(
            "it declares entities or a document type, which are not read", filename, "forbidden-xml"
        ) from error
    except ParseError as error:
        raise _broken(f"its XML is broken ({error})", filename, "damaged") from error
    except (ValueError, LookupError, OverflowError) as error:
        if isinstance(error, UnreadableFile):
            raise
        raise _broken(f"a value can't be understood ({error})", filename, "text-in-number") from error
    found = [one for one in reader.done if len(one.values) > 0]
    if not any(one.independent for one in found) or all(one.independent for one in found):
        raise _broken(
            "no series set has an independent and a dependent series with values", filename, "no-signal"
        )
    ran = started.from_text(reader.ran_at)
    if ran is not None:
        ran = replace(ran, source=f"the experiment step's timestamp is {ran.source}")
    return series.trace(
        found, kind="animl", filename=filename, profile=profile, given=given, notes=[], started=ran
    )


@dataclass
class _Reader:
    """Gathers series while elements open and close; every element is dropped as soon as it is read."""

    filename: str
    done: list[series.Series] = field(default_factory=list)
    ran_at: str = ""
    _open: list[Element] = field(default_factory=list)
    _group: int = 0
    _length: int = 0
    _attributes: Mapping[str, str] = field(default_factory=dict)
    _unit: str = ""
    _numbers: list[float] = field(default_factory=list)
    _texts: list[str] = field(default_factory=list)
    _parts: list[tuple[int, Floats]] = field(default_factory=list)
    _words: list[str] = field(default_factory=list)
    _count: int = 0

    def start(self, element: Element) -> None:
        """An element opens."""
        name = _local(element)
        if not self._open and name != "AnIML":
            raise _broken(f"its root is {shown(name)}, not AnIML", self.filename, "not-a-table")
        self._open.append(element)
        if name == "SeriesSet":
            self._group += 1
            self._length = int(element.get("length", "0"))
        elif name == "Series":
            self._attributes, self._unit, self._parts, self._words = dict(element.attrib), "", [], []
        elif name in ("IndividualValueSet", "AutoIncrementedValueSet"):
            self._numbers, self._texts = [], []

    def end(self, element: Element) -> None:
        """An element closes."""
        name = _local(element)
        self._open.pop()
        if name == "Timestamp" and self._open and _local(self._open[-1]) == "Infrastructure":
            self.ran_at = self.ran_at or (element.text or "").strip()
        if self._attributes:
            self._value(name, element)
        if name == "Series":
            self._close_series()
        element.clear()
        if self._open:
            self._open[-1].remove(element)

    def _value(self, name: str, element: Element) -> None:
        text = (element.text or "").strip()
        if name == "Unit":
            self._unit = element.get("label", "")
        elif name == "S":
            self._texts.append(text)
        elif name in _VALUES:
            self._numbers.append(float(text))
        elif name in ("IndividualValueSet", "EncodedValueSet", "AutoIncrementedValueSet"):
            self._set(name, element, text)
        if len(self._numbers) + len(self._texts) + self._count > _MOST:
            raise _broken(f"it holds more than {_MOST} values", self.filename, "too-large")

    def _set(self, name: str, element: Element, text: str) -> None:
        first = int(element.get("startIndex", "0"))
        if name == "EncodedValueSet":
            self._parts.append((first, self._decoded(text)))
        elif name == "AutoIncrementedValueSet":
            last = int(element.get("endIndex", str(self._length - 1)))
            if len(self._numbers) != 2 or not 0 <= last - first < _MOST:
                raise ValueError("a series that counts by itself needs a start, an increment and a length")
            counted = np.arange(last - first + 1, dtype=np.float64)
            self._parts.append((first, self._numbers[0] + self._numbers[1] * counted))
        elif self._texts:
            self._words += self._texts
        else:
            self._parts.append((first, np.array(self._numbers)))
        self._count += sum(len(part) for _, part in self._parts[-1:])

    def _decoded(self, text: str) -> Floats:
        kind = _BINARY.get(self._attributes.get("seriesType", ""))
        if kind is None:
            raise ValueError(f"packed values of type {self._attributes.get('seriesType')}")
        try:
            packed = base64.b64decode("".join(text.split()), validate=True)
        except binascii.Error as error:
            raise ValueError("packed values are not base64") from error
        return np.frombuffer(packed, dtype=kind).astype(float)

    def _close_series(self) -> None:
        name = self._attributes.get("name") or self._attributes.get("seriesID", "")
        independent = self._attributes.get("dependency") == "independent"
        values = tuple(self._words) if self._words else self._placed()
        if self._length and len(values) not in (0, self._length):
            raise UnreadableFile(
                f"The series holds {len(values)} values, but its set says {self._length}.",
                where=f"series {shown(name)}",
                mend="Export the run again; this file may be cut short.",
                code="damaged",
            )
        self.done.append(series.Series(name, self._unit, values, self._group, independent))
        self._attributes = {}

    def _placed(self) -> Floats:
        """Return the value sets of a series, each at its index."""
        size = max((first + len(part) for first, part in self._parts), default=0)
        if not 0 <= size <= _MOST or any(first < 0 for first, _ in self._parts):
            raise ValueError("an index of values lies outside the series")
        out = np.full(size, np.nan)
        for first, part in self._parts:
            out[first : first + len(part)] = part
        return out


def _local(element: Element) -> str:
    return str(element.tag).rsplit("}", 1)[-1]


def _broken(why: str, filename: str, code: str) -> UnreadableFile:
    return UnreadableFile(
        f"The XML file can't be read: {why}.",
        where=filename,
        mend="Export the run as AnIML, CSV, XLSX or ASTM E1947 netCDF.",
        code=code,
    )
