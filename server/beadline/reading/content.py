"""Bytes of any kind: unpacked within limits, and told apart by what they hold, never by the file's name."""

from __future__ import annotations

import gzip
import io
import re
import zipfile
import zlib
from typing import IO, cast

from beadline.reading.errors import UnreadableFile
from beadline.reading.wording import shown

LARGEST = 256 * 2**20  # bytes of one file, unpacked
_STEP = 2**20
_SIGNATURES = (
    (b"%PDF", "a PDF document"),
    (b"\x89PNG", "a picture (PNG)"),
    (b"\xff\xd8\xff", "a picture (JPEG)"),
    (b"GIF8", "a picture (GIF)"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "an old binary office file (such as .xls)"),
    (b"\x89HDF", "an HDF5 file (netCDF-4 among them), which is not the classic netCDF that ASTM E1947 uses"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
    (b"Rar!", "a RAR archive"),
    (b"BZh", "a bzip2 file"),
    (b"\xfd7zXZ", "an xz file"),
    (b"\x28\xb5\x2f\xfd", "a zstd file"),
    (b"SQLite format 3", "a database file"),
    (b"\x7fELF", "a program"),
    (b"MZ\x90", "a program"),
    (b"PAR1", "a Parquet file"),
)
_BESIDE = re.compile(  # what lies beside a run in a zip and holds none
    r"(?:read[ _-]?me|liesmich|lisez[ _-]?moi|manifest|checksums?)(?:\..{1,4})?"
    r"|.*\.(?:pdf|png|jpe?g|gif|svg|docx?|html?|md5|sha\d*)",
    re.IGNORECASE,
)
_EXPORT = (
    "Export the run from the skid as delimited text (CSV), XLSX, AnIML or ASTM E1947 netCDF, and drop that."
)


def unpack(content: bytes, filename: str) -> tuple[bytes, str]:
    """Return the bytes inside gzip or zip wrappers, and the name of the file they are of.

    Raises
    ------
    UnreadableFile
        If the wrapper is damaged, too large inside, or holds no file or several.
    """
    for _ in range(3):
        _refuse_empty_or_huge(content, filename)
        if content.startswith(b"\x1f\x8b"):
            content, filename = _gunzip(content, filename), filename.removesuffix(".gz")
        elif content.startswith(b"PK\x03\x04") and not is_workbook(content):
            content, filename = _unzip(content, filename)
        else:
            return content, filename
    raise UnreadableFile(
        "The file is packed more than twice over.",
        where=filename,
        mend="Unpack it once and drop what is inside.",
        code="nested",
    )


def is_workbook(content: bytes) -> bool:
    """Tell whether these bytes are an XLSX workbook rather than an ordinary zip."""
    if not content.startswith(b"PK\x03\x04"):
        return False
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            return any(name.startswith("xl/") for name in archive.namelist()[:2000])
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError):
        return False


def refuse_foreign(content: bytes, filename: str) -> None:
    """Raise UnreadableFile if the bytes are of a kind that holds no table."""
    for signature, kind in _SIGNATURES:
        if content.startswith(signature):
            raise UnreadableFile(
                f"The file is {kind}, not a table of numbers.", where=filename, mend=_EXPORT, code="not-text"
            )


def _refuse_empty_or_huge(content: bytes, filename: str) -> None:
    if not content.strip(b"\x00 \t\r\n\xef\xbb\xbf\xff\xfe"):
        said = "The file is empty." if not content else "The file holds nothing but blanks."
        raise UnreadableFile(
            said, where=filename, mend="Export the run again and check the file's size.", code="empty"
        )
    if len(content) > LARGEST:
        raise _too_large(filename, f"{len(content) / 2**20:.0f} MB")


def _too_large(filename: str, size: str) -> UnreadableFile:
    return UnreadableFile(
        f"The file holds {size}; the most that is read is {LARGEST / 2**20:.0f} MB.",
        where=filename,
        mend="Export one cycle only, or with a longer logging interval.",
        code="too-large",
    )


def _gunzip(content: bytes, filename: str) -> bytes:
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(content)) as stream:
            return _read_within_limit(cast("IO[bytes]", stream), filename)
    except (OSError, EOFError, zlib.error) as error:
        raise _damaged("gzip", filename, error) from error


def _unzip(content: bytes, filename: str) -> tuple[bytes, str]:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            names = [entry for entry in archive.infolist() if _is_data(entry)]
            if len(names) != 1:
                listed = ", ".join(shown(entry.filename) for entry in names[:5]) or "none"
                raise UnreadableFile(
                    f"The zip holds {len(names)} files ({listed}); one run is one file.",
                    where=filename,
                    mend="Drop the file of one run, or a zip that holds only that.",
                    code="several-files",
                )
            if names[0].flag_bits & 1:
                raise UnreadableFile(
                    "The zip is locked with a password.",
                    where=filename,
                    mend="Unpack it and drop what is inside.",
                    code="locked",
                )
            with archive.open(names[0]) as stream:
                return _read_within_limit(stream, names[0].filename), names[0].filename
    except (
        zipfile.BadZipFile,
        OSError,
        EOFError,
        zlib.error,
        NotImplementedError,
        RuntimeError,
        ValueError,
    ) as error:
        if isinstance(error, UnreadableFile):
            raise
        raise _damaged("zip", filename, error) from error


def _is_data(entry: zipfile.ZipInfo) -> bool:
    last = entry.filename.rsplit("/", 1)[-1]
    hidden = entry.filename.startswith("__MACOSX/") or last.startswith(".")
    return not entry.is_dir() and not hidden and not _BESIDE.fullmatch(last)


def _read_within_limit(stream: IO[bytes], filename: str) -> bytes:
    """Read a packed stream to its end, never holding more than the limit: a bomb stops here."""
    pieces = bytearray()
    while piece := stream.read(_STEP):
        pieces += piece
        if len(pieces) > LARGEST:
            raise _too_large(filename, f"more than {LARGEST / 2**20:.0f} MB unpacked")
    return bytes(pieces)


def _damaged(kind: str, filename: str, error: Exception) -> UnreadableFile:
    return UnreadableFile(
        f"The {kind} file is damaged or cut short ({error}).",
        where=filename,
        mend="Copy it again from where it was made, and drop the new copy.",
        code="damaged",
    )
