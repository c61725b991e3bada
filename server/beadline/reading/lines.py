"""Text of any common encoding as a stream of lines."""

from __future__ import annotations

import codecs
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from beadline.reading.errors import UnreadableFile

LONGEST_LINE = 200_000  # letters
BLOCK = 2**22  # letters that are read at once
AHEAD = 2**15  # letters that are read at once where a few lines may be enough
SPACES = "spaces"  # the delimiter of columns set apart by blanks
_BOMS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_CONTROLS = bytes(byte for byte in range(32) if byte not in b"\t\r\n\f\v\x1a\x1b")
_WORDS = {
    "utf-8": "UTF-8",
    "utf-8-sig": "UTF-8 with a byte-order mark",
    "cp1252": "Windows-1252",
    "cp850": "code page 850",
    "cp932": "Shift-JIS",
}


def encoding_of(content: bytes, filename: str) -> str:
    """Return the encoding of a text file.

    Raises
    ------
    UnreadableFile
        If the bytes are not text.
    """
    for mark, name in _BOMS:
        if content.startswith(mark):
            return name
    if wide := _wide_without_mark(content[:4096]):
        return wide
    if b"\x00" in content:
        raise _not_text(filename, f"byte {content.index(0) + 1} is zero")
    sample = content[:65536]
    strange = len(sample) - len(sample.translate(None, _CONTROLS))
    if strange > 0.01 * len(sample):
        raise _not_text(filename, f"{strange} of its first {len(sample)} bytes are control characters")
    return "utf-8" if _decodes(content, "utf-8") else _eight_bit(content)


def encoding_words(name: str) -> str:
    """Return an encoding's name as people write it."""
    return _WORDS.get(name, name.upper())


def _wide_without_mark(sample: bytes) -> str:
    """Tell UTF-16 without its mark by the zero bytes between the letters."""
    even, odd = sample[0::2], sample[1::2]
    if len(even) < 8:
        return ""
    if odd.count(0) > 0.6 * len(odd) and even.count(0) < 0.05 * len(even):
        return "utf-16-le"
    if even.count(0) > 0.6 * len(even) and odd.count(0) < 0.05 * len(odd):
        return "utf-16-be"
    return ""


def _decodes(content: bytes, encoding: str) -> bool:
    decoder = codecs.getincrementaldecoder(encoding)()
    view = memoryview(content)
    try:
        for start in range(0, len(view), 2**20):
            decoder.decode(bytes(view[start : start + 2**20]))
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True


def _eight_bit(content: bytes) -> str:
    """Return Windows-1252, or code page 850 or Shift-JIS where that makes sense of the bytes."""
    if _is_japanese(content[:65536]):
        return "cp932"
    old = re.search(rb"(?:^|[\s\[\(;,\"])(?:\xf8C|\xe6S/)", content[:65536])
    return "cp850" if old else "cp1252"


def _is_japanese(sample: bytes) -> bool:
    """Tell whether bytes are Shift-JIS: pairs led by what would be controls and quotes in Windows-1252."""
    pairs = re.findall(rb"[\x81-\x9f\xe0-\xea][\x40-\x7e\x80-\xfc]", sample)
    led = sum(pair[0] < 0xA0 for pair in pairs)
    if led < 2 or led < 0.7 * len(pairs):
        return False
    decoder = codecs.getincrementaldecoder("cp932")()
    try:
        decoder.decode(sample)
    except UnicodeDecodeError:
        return False
    return True


def _not_text(filename: str, why: str) -> UnreadableFile:
    return UnreadableFile(
        f"The file is not text: {why}.",
        where=filename,
        mend="Export the run as delimited text (CSV), XLSX, AnIML or ASTM E1947 netCDF, and drop that.",
        code="not-text",
    )


@dataclass(frozen=True, slots=True)
class TextLines:
    """The lines of a text file, decoded as they are asked for."""

    content: bytes
    encoding: str
    filename: str
    log: Sequence[tuple[int, list[str]]] = ()

    def __iter__(self) -> Iterator[str]:
        stream, number, mark = self._stream(), 1, "\ufeff"
        while text := self._read(stream, number, AHEAD):
            if not text.endswith("\n"):
                text += self._line(stream, number + text.count("\n"))
            read = text.removesuffix("\n").split("\n")
            self._refuse_long(read, number)
            yield read[0].lstrip(mark)
            yield from read[1:]
            number, mark = number + len(read), ""

    def blocks(self, above: int) -> Iterator[tuple[int, str]]:
        """Yield blocks of whole lines below the first ones, each with its first line number."""
        stream = self._stream()
        for number in range(above):
            self._line(stream, number + 1)
        first = above + 1
        while text := self._read(stream, first, BLOCK):
            count = text.count("\n")
            if not text.endswith("\n"):
                text += self._line(stream, first + count)
                count += 1
            yield first, text.removesuffix("\n")
            first += count

    def _stream(self) -> io.TextIOWrapper:
        errors = (
            "replace"
            if self.encoding in ("cp1252", "cp932", "utf-16", "utf-16-le", "utf-16-be", "utf-32")
            else "strict"
        )
        return io.TextIOWrapper(io.BytesIO(self.content), encoding=self.encoding, errors=errors, newline=None)

    def _line(self, stream: io.TextIOWrapper, number: int) -> str:
        try:
            line = stream.readline(LONGEST_LINE + 1)
        except UnicodeError as error:
            raise self._not_this_encoding(number, error) from error
        self._refuse_long((line,), number)
        return line

    @staticmethod
    def _refuse_long(read: Sequence[str], first: int) -> None:
        if max(map(len, read)) > LONGEST_LINE:
            far = next(at for at, line in enumerate(read) if len(line) > LONGEST_LINE)
            raise UnreadableFile(
                f"The line is longer than {LONGEST_LINE} letters.",
                where=f"line {first + far}",
                mend="Export the run with line ends after every row.",
                code="long-line",
            )

    def _read(self, stream: io.TextIOWrapper, number: int, size: int) -> str:
        try:
            return stream.read(size)
        except UnicodeError as error:
            raise self._not_this_encoding(number, error) from error

    def _not_this_encoding(self, number: int, error: UnicodeError) -> UnreadableFile:
        return UnreadableFile(
            f"The text is not {encoding_words(self.encoding)} ({getattr(error, 'reason', error)}).",
            where=f"line {number} or below",
            mend="Export the file again, or let its encoding be recognised afresh.",
            code="encoding",
        )

    def tail(self, size: int = 2**16) -> list[str]:
        """Return the last lines of a large file, without reading what is before them."""
        wide = self.encoding.startswith(("utf-16", "utf-32"))
        start = max(0, len(self.content) - size) // 4 * 4
        encoding = "utf-16-le" if wide and self.content.startswith(codecs.BOM_UTF16_LE) else self.encoding
        return self.content[start:].decode(encoding, errors="replace").splitlines()[1:]

    def where(self, number: int, column: int, header: str = "") -> str:
        """Return the words that name a place in the file; both count from 1."""
        named = f" {header}" if header else ""
        return f"line {number}, column {column}{named}"
