"""Long lists, as historians export them: one value a row, named by a tag. Each tag becomes a signal."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import islice

import numpy as np

from beadline.reading import axis, cells, clocks, delimiters, facts, long_rows, series, started
from beadline.reading.errors import UnreadableFile
from beadline.reading.facts import Facts
from beadline.reading.headers import understand
from beadline.reading.long_rows import Tag
from beadline.reading.long_shape import Shape
from beadline.reading.profile import Profile
from beadline.reading.series import Series
from beadline.reading.trace import Floats, Started, Trace
from beadline.reading.units import unit_of
from beadline.reading.wording import counted, shown

_EPOCHS = ((1e9, 1.0), (1e12, 1e-3), (1e15, 1e-6), (1e18, 1e-9))  # counts since 1970 lie above these; [s]
_WORDED = {
    "no-signal": (
        "No tag says that it is conductivity, UV, pH, pressure, flow or temperature ({tags}).",
        "Export the unit or the description of each tag in a column of its own, or say what each tag is.",
    ),
    "no-flow": (
        "The list has times, but no tag is a volume, or a flow with a unit ({tags}).",
        "Export the totaliser's or the flow's tag with the others, and the units in a column of their own.",
    ),
}


@dataclass(frozen=True, slots=True)
class _Places:
    """Where rows lie: in seconds, or in the unit that the header says; `form` as dates are written."""

    values: Floats
    name: str
    unit: str
    since_1970: bool = False
    clock: bool = False
    form: str = ""


def read(
    lines: Iterable[str], filename: str, shape: Shape | None, profile: Profile | None, given: Facts
) -> Trace:
    """Read a long list; see `reader.read`.

    Raises
    ------
    UnreadableFile
        If it is none, or its tags give no signals over volume.
    """
    if shape is None:
        raise UnreadableFile(
            "The file does not fit its reading profile, which is for a long list of times, tags and values.",
            where=filename,
            mend="Let the file be recognised afresh.",
            code="profile-mismatch",
        )
    rows = long_rows.gather(lines, shape, filename)
    places = _places(rows.places, shape)
    quality = shape.headers[shape.quality] if shape.quality is not None and shape.headers else ""
    fine = long_rows.good(rows, quality)
    notes = [_about(rows, shape)]
    if rows.passed_over:
        notes.append(f"{counted(rows.passed_over, 'line')} without a name or a time passed over.")
    found = _series(rows, places, fine, notes)
    above = list(_above(lines, shape))
    known, said = facts.from_preamble(above, shape.decimal, given)
    began, unclear = _started(rows.places, places, above)
    notes += [*said, *filter(None, [unclear])]
    try:
        return series.trace(
            found, kind="long", filename=filename, profile=profile, given=known, notes=notes, started=began
        )
    except UnreadableFile as error:
        raise _worded(error, rows, filename) from error


def _above(lines: Iterable[str], shape: Shape) -> Iterable[list[str]]:
    return (delimiters.split(line, shape.delimiter) for line in islice(iter(lines), shape.first))


def _started(
    written: Sequence[str], places: _Places, above: Sequence[list[str]]
) -> tuple[Started | None, str]:
    """Return when the earliest row was taken, if the list tells the day."""
    by_line, unclear = started.from_preamble(enumerate(above, 1))
    if not len(written):
        return by_line, unclear
    first = int(np.argmin(places.values))
    if places.form:
        return started.from_stamp(written[first], np.sort(places.values), places.form)
    if places.since_1970:
        return started.from_1970(float(places.values[first])), ""
    if places.clock:
        by_line = started.with_clock(by_line, float(places.values[0]))
    return by_line, "" if by_line else unclear


def _about(rows: long_rows.Rows, shape: Shape) -> str:
    named = shown(shape.headers[shape.tag]) if shape.headers else f"column {shape.tag + 1}"
    held = ", ".join(f"{shown(name)} {len(tag.values)}" for name, tag in sorted(rows.tags.items())[:8])
    return (
        f"The file is a long list, one value a row, named by {named}; each of the "
        f"{counted(len(rows.tags), 'tag')} becomes a signal with its own places (rows: {held})."
    )


def _places(written: Sequence[str], shape: Shape) -> _Places:
    """Return the distinct places as numbers."""
    header = shape.place_header
    if not all(cells.is_number(cell, shape.decimal) and ":" not in cell for cell in written[:400]):
        form = clocks.form_of(written[:5000], header.written)
        if form == clocks.UNCLEAR:
            raise UnreadableFile(
                "The times may count hours and minutes, or minutes and seconds.",
                where=f"column {shape.place[0] + 1}",
                mend="Export times with hours, minutes and seconds, best with the date.",
                code="unclear-clock",
            )
        seconds = clocks.seconds(written, form)
        if np.isnan(seconds).any():
            strange = written[int(np.flatnonzero(np.isnan(seconds))[0])]
            raise UnreadableFile(
                f"The time {shown(strange)} is not written as the others are ({form}).",
                where=f"column {shape.place[0] + 1}",
                mend="Export all times in one form, best as year-month-day with the time of day.",
                code="text-in-number",
            )
        dated = form.startswith("date")
        return _Places(seconds, "time", "s", since_1970=dated, clock=not dated, form=form if dated else "")
    values = np.array([cells.to_float(cell, shape.decimal) for cell in written], dtype=float)
    if header.unit is None and "volume" not in header.kinds and len(values):
        size = next((size for least, size in _EPOCHS if least <= values.min() <= 4 * least), None)
        if size is not None:
            return _Places(values * size, "time", "s", since_1970=True)
    return _Places(values, header.written or "time", header.unit.text if header.unit else "")


def _series(rows: long_rows.Rows, places: _Places, fine: set[int], notes: list[str]) -> list[Series]:
    """Return two series for each tag, in the order of their names: where it lies, and its values."""
    measured = {
        name: one
        for name, tag in sorted(rows.tags.items())
        if (one := _of_tag(name, tag, places, fine, notes)) is not None
    }
    if not measured:
        raise UnreadableFile(
            "No tag has two good values or more.",
            where="whole file",
            mend="Export the whole run with the tags of the column's probes.",
            code="too-few-points",
        )
    if places.clock:
        measured = _on_one_day(measured)
    if places.unit in ("s", "min", "h", "ms", "d"):
        measured, places = _over_totaliser(measured, places, notes)
    start = min(float(at[0]) for at, _ in measured.values()) if places.since_1970 or places.clock else 0.0
    out: list[Series] = []
    for group, (at, values) in enumerate(measured.values()):
        out.append(Series(places.name, places.unit, at - start, group, independent=True))
        out.append(replace(values, group=group))
    return out


def _of_tag(
    name: str, tag: Tag, places: _Places, fine: set[int], notes: list[str]
) -> tuple[Floats, Series] | None:
    at = places.values[np.array(tag.places, dtype=int)]
    title = f"{name} {tag.about}".strip() if tag.about != name else name
    order = np.argsort(at, kind="stable") if places.since_1970 else np.arange(len(at))
    if (np.diff(order) < 0).any():
        notes.append(f"The rows of {shown(name)} were put in the order of time.")
    header = understand(title, tag.unit)
    if tag.is_words or ("mark" in header.kinds and header.unit is None):
        cells_of = [tag.words[row][1] if row in tag.words else f"{tag.values[row]:g}" for row in order]
        words = tuple("" if cell == "nan" else cell for cell in cells_of)
        return at[order], Series(title, "", words, 0)
    values, said = long_rows.values_of(tag, name, fine)
    if said:
        notes.append(said)
    if np.isfinite(values).sum() < 2:
        notes.append(f"{shown(name)} has fewer than two good values and was left out.")
        return None
    return at[order], Series(title, tag.unit, values[order], 0, gaps=True)


def _on_one_day(measured: dict[str, tuple[Floats, Series]]) -> dict[str, tuple[Floats, Series]]:
    """Let clocks run on past midnight, and start all tags on the same day."""
    run_on = {name: (clocks.unwrap(at)[0], one) for name, (at, one) in measured.items()}
    first = max(run_on.values(), key=lambda pair: len(pair[0]))[0][0]
    return {
        name: (at - clocks.DAY_S * round((at[0] - first) / clocks.DAY_S), one)
        for name, (at, one) in run_on.items()
    }


def _over_totaliser(
    measured: dict[str, tuple[Floats, Series]], places: _Places, notes: list[str]
) -> tuple[dict[str, tuple[Floats, Series]], _Places]:
    """Put the signals over the volume that a tag counts, if one does; a flow is left to be integrated."""
    for name, (at, one) in measured.items():
        header = understand(one.name, one.unit)
        counts = header.unit is not None and header.unit.kind == "volume" and header.measured
        if not counts or isinstance(one.values, tuple) or not set(header.kinds) <= {"volume", "flow"}:
            continue
        known = np.isfinite(one.values)
        lines = np.arange(1, int(known.sum()) + 1)
        passed = axis.joined(one.values[known], starts=None, name=one.name, lines=lines, where=None)
        if passed.joined:
            notes.append(
                f"{shown(name)} starts anew {counted(passed.joined, 'time')}; the pieces were joined."
            )
        notes.append(f"Signals stand over {shown(name)}, on straight lines between its values.")
        text = header.unit.text if header.unit else ""
        over = {
            other: (np.interp(when, at[known], passed.values), series_)
            for other, (when, series_) in measured.items()
            if other != name
        }
        return over, _Places(np.empty(0), one.name, text)
    return measured, places


def _worded(error: UnreadableFile, rows: long_rows.Rows, filename: str) -> UnreadableFile:
    """Say of tags what would be said of columns."""
    if error.code not in _WORDED:
        return error
    what, mend = _WORDED[error.code]
    listed = ", ".join(
        f"{shown(name)}{f' in {tag.unit}' if unit_of(tag.unit) else ''}"
        for name, tag in sorted(rows.tags.items())[:8]
    )
    said = UnreadableFile(what.format(tags=listed), where=filename, mend=mend, code=error.code)
    said.draft = error.draft
    return said
