"""XLSX workbooks: each sheet becomes lines, read like text."""

from __future__ import annotations

import io
import warnings
import zipfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from beadline.reading import content as contents
from beadline.reading import delimited, fit, marks
from beadline.reading.errors import UnreadableFile
from beadline.reading.facts import Facts
from beadline.reading.layout import MOST_COLUMNS
from beadline.reading.profile import Profile
from beadline.reading.trace import Trace
from beadline.reading.wording import shown

_TAB = "\t"
_MOST_SHEETS = 100
_MOST_CELLS = 50_000_000  # of a sheet, empty ones between filled ones among them
_MOST_BLANK = 10_000  # rows without a value in a row, after which a sheet is taken to end
_TOP = 400  # rows of the other sheets that are looked at for a log of events or another run


@dataclass(frozen=True, slots=True)
class SheetLines:
    """A sheet's rows as lines with tabs between the cells."""

    lines: Sequence[str]
    sheet: str
    filename: str
    log: Sequence[tuple[int, list[str]]] = ()

    def __iter__(self) -> Iterator[str]:
        return iter(self.lines)

    def blocks(self, above: int) -> Iterator[tuple[int, str]]:
        """Yield the rows below the first ones, as one block."""
        if self.lines[above:]:
            yield above + 1, "\n".join(self.lines[above:])

    def tail(self) -> list[str]:
        """Return the last lines."""
        return list(self.lines[-400:])

    def where(self, number: int, column: int, header: str = "") -> str:
        """Return the words that name a cell."""
        from openpyxl.utils import get_column_letter  # here, since it would slow every start

        named = f" {header}" if header else ""
        return f"sheet {shown(self.sheet)}, cell {get_column_letter(column)}{number}{named}"


def read(content: bytes, filename: str, profile: Profile | None, given: Facts) -> Trace:
    """Read the sheet that holds a run; see `reader.read`."""
    _refuse_bomb(content, filename)
    names = _sheet_names(content, filename)
    if profile is not None and profile.sheet and profile.sheet not in names and len(names) > 1:
        raise UnreadableFile(
            f"The reading profile expects the sheet {shown(profile.sheet)}; the workbook "
            f"has {', '.join(map(shown, names[:6]))}.",
            where=filename,
            mend="Name the sheet as before, or let the file be recognised afresh.",
            code="profile-mismatch",
        )
    if profile is not None:
        names = [profile.sheet] if profile.sheet in names else names
    return _first_that_reads(content, filename, names, profile, given)


def sheets(content: bytes, filename: str) -> list[SheetLines]:
    """Return every sheet of a workbook as lines.

    Raises
    ------
    UnreadableFile
        If it unpacks to more than is read, or is damaged.
    """
    _refuse_bomb(content, filename)
    whole = _lines(content, filename)
    return [SheetLines(lines, name, filename) for name, lines in whole.items()]


def _first_that_reads(
    content: bytes, filename: str, names: list[str], profile: Profile | None, given: Facts
) -> Trace:
    """Return the first sheet that is a run, its marks taken from the others if it has none."""
    refused: UnreadableFile | None = None
    tops = _lines(content, filename, most=_TOP)
    for name in names:
        others = {other: top for other, top in tops.items() if other != name}
        lines = _lines(content, filename, only=name)[name]
        source = SheetLines(lines, name, filename, _log_of(others.values()))
        if not source.lines:
            continue
        try:
            trace = delimited.read_lines(source, profile, given, kind="workbook", sheet=name)
            if profile is None:
                _refuse_another_run(trace.profile, name, others, filename)
            return trace
        except UnreadableFile as error:
            if error.code == "several-runs":
                raise
            if refused is None or refused.code == "no-numbers":
                refused = error
    raise refused or UnreadableFile(
        "The workbook holds no filled sheet.",
        where=filename,
        mend="Save it with the run's numbers in a sheet.",
        code="empty",
    )


def _log_of(sheets: Iterable[list[str]]) -> Sequence[tuple[int, list[str]]]:
    """Return the log of events that stands in a sheet of its own, or nothing."""
    rows = ([(number, line.split(_TAB)) for number, line in enumerate(lines, 1)] for lines in sheets)
    return next(filter(None, map(marks.event_log, rows)), ())


def _refuse_another_run(profile: Profile, name: str, others: Mapping[str, list[str]], filename: str) -> None:
    """Refuse a workbook in which another sheet has the same columns as the one that was read."""
    for other, top in others.items():
        try:
            fit.place_of(profile, top, filename)
        except UnreadableFile:
            continue
        error = UnreadableFile(
            f"The sheets {shown(name)} and {shown(other)} have the same columns; one run is one file.",
            where=filename,
            mend="Save the run in a workbook of its own, or choose its sheet in the reading profile.",
            code="several-runs",
        )
        error.draft = profile
        raise error


def _refuse_bomb(content: bytes, filename: str) -> None:
    """Refuse a workbook whose parts unpack to more than is read."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        size = sum(entry.file_size for entry in archive.infolist())
    if size > contents.LARGEST:
        raise UnreadableFile(
            f"The workbook unpacks to {size / 2**20:.0f} MB; the most that is read "
            f"is {contents.LARGEST / 2**20:.0f} MB.",
            where=filename,
            mend="Save one run in a workbook of its own, or as CSV.",
            code="too-large",
        )


def _open(content: bytes, filename: str) -> Any:
    import openpyxl  # here, since it would slow every start

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return openpyxl.load_workbook(
                io.BytesIO(content), read_only=True, data_only=True, keep_links=False
            )
    except Exception as error:  # openpyxl lets errors of zip, XML and its own through
        raise _damaged(filename, error) from error


def _sheet_names(content: bytes, filename: str) -> list[str]:
    book = _open(content, filename)
    try:
        names = [sheet.title for sheet in book.worksheets]
    finally:
        book.close()
    if len(names) > _MOST_SHEETS:
        raise UnreadableFile(
            f"The workbook has {len(names)} sheets; the most that is read is {_MOST_SHEETS}.",
            where=filename,
            mend="Save the run in a workbook of its own, or as CSV.",
            code="too-large",
        )
    return names


def _lines(content: bytes, filename: str, *, only: str = "", most: int | None = None) -> dict[str, list[str]]:
    """Return sheets, or the top of each, as lines; a lying size in a sheet is not believed."""
    book = _open(content, filename)
    try:
        found = {}
        for sheet in book.worksheets:
            if not only or sheet.title == only:
                sheet.reset_dimensions()
                found[sheet.title] = list(_rows(sheet, filename, most))
        return found
    except UnreadableFile:
        raise
    except Exception as error:
        raise _damaged(filename, error) from error
    finally:
        book.close()


def _rows(sheet: Any, filename: str, most: int | None) -> Iterator[str]:
    """Yield the rows of a sheet; one that claims to be far below or far right is not filled up to it."""
    blank = cells = 0
    for row in sheet.iter_rows(max_row=most, values_only=True):
        cells += len(row)
        if cells > _MOST_CELLS:
            raise UnreadableFile(
                f"The sheet {shown(sheet.title)} has more than {_MOST_CELLS // 10**6} million cells.",
                where=filename,
                mend="Save the run's columns alone, or as CSV.",
                code="too-large",
            )
        line = _line(row)
        blank = 0 if line else blank + 1
        if blank > _MOST_BLANK:
            return
        yield line


def _line(row: Sequence[Any]) -> str:
    end = len(row)
    while end and row[end - 1] is None:
        end -= 1
    return _TAB.join(_cell(value) for value in row[: min(end, MOST_COLUMNS + 1)]).rstrip(_TAB)


def _cell(value: object) -> str:
    """Return a cell as text would write it: point decimals, ISO dates."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value)
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, datetime):
        return value.isoformat(sep=" ")
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, timedelta):
        minutes, seconds = divmod(value.total_seconds(), 60)
        return f"{int(minutes) // 60:d}:{int(minutes) % 60:02d}:{seconds:09.6f}"
    return " ".join(str(value).replace('"', "'").split())


def _damaged(filename: str, error: Exception) -> UnreadableFile:
    return UnreadableFile(
        f"The workbook is damaged or not what its parts say ({type(error).__name__}: {str(error)[:80]}).",
        where=filename,
        mend="Open it in a spreadsheet program, save it as .xlsx again, and drop the new file.",
        code="damaged",
    )
