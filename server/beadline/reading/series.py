"""Named series of numbers, from formats that carry arrays rather than text, as a table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from beadline.reading import assemble, choose, columns, fit
from beadline.reading.errors import UnreadableFile
from beadline.reading.facts import Facts
from beadline.reading.profile import ColumnPlan, Kind, Profile
from beadline.reading.table import Table
from beadline.reading.trace import Floats, Started, Trace
from beadline.reading.wording import counted, shown


@dataclass(frozen=True, slots=True)
class Series:
    """One series: numbers, or words; `group` tells series of one axis from those of another.

    With `gaps`, values may be missing (NaN).
    """

    name: str
    unit: str
    values: Floats | tuple[str, ...]
    group: int
    independent: bool = False
    gaps: bool = False


def trace(
    series: Sequence[Series],
    *,
    kind: Kind,
    filename: str,
    profile: Profile | None,
    given: Facts,
    notes: list[str],
    started: Started | None = None,
) -> Trace:
    """Turn series into a trace; see `reader.read`."""
    read = _trace(series, kind, filename, profile, given, notes)
    if started is None:
        return read
    said = f"The run started on {started.moment:%Y-%m-%d %H:%M}, because {started.source}."
    return replace(read, started=started, notes=(*read.notes, said))


def _trace(
    series: Sequence[Series],
    kind: Kind,
    filename: str,
    profile: Profile | None,
    given: Facts,
    notes: list[str],
) -> Trace:
    header = (tuple(one.name for one in series), tuple(one.unit for one in series))
    if profile is None:
        plans = _plans(series, header)
        draft = Profile(kind, plans, choose.likely(plans), header)
        try:
            axis, why = choose.axis(plans, given, header, filename)
            notes = [*notes, *_notes(series, header), why]
            return _assembled(series, filename, replace(draft, axis=axis), given, notes)
        except UnreadableFile as error:
            error.draft = draft
            raise
    if profile.header != header:
        raise UnreadableFile(
            f"The file does not fit its reading profile: it holds {', '.join(map(shown, header[0]))}.",
            where=filename,
            mend="Let the file be recognised afresh and save a new version of the profile.",
            code="profile-mismatch",
        )
    return _assembled(series, filename, profile, given, notes)


def _assembled(
    series: Sequence[Series], filename: str, profile: Profile, given: Facts, notes: list[str]
) -> Trace:
    return assemble.trace(_table(series, filename), fit.with_facts(profile, given), notes)


def _samples(series: Sequence[Series]) -> list[list[str]]:
    def cell(one: Series, row: int) -> str:
        if row >= len(one.values):
            return ""
        value = one.values[row]
        return value if isinstance(value, str) else repr(float(value)) if np.isfinite(value) else ""

    return [[cell(one, row) for one in series] for row in range(20)]


def _guess(series: Sequence[Series], header: tuple[tuple[str, ...], ...]) -> columns.Guess:
    return columns.recognise(header, 1, _samples(series), decimal=".", width=len(series))


def _notes(series: Sequence[Series], header: tuple[tuple[str, ...], ...]) -> tuple[str, ...]:
    return _guess(series, header).notes


def _plans(series: Sequence[Series], header: tuple[tuple[str, ...], ...]) -> tuple[ColumnPlan, ...]:
    """Return what each series is; those of several groups carry the axis of their own."""
    plans = _guess(series, header).plans
    if len({one.group for one in series}) == 1:
        return plans
    axes = {one.group: index for index, one in enumerate(series) if one.independent}
    first = next(iter(axes.values()))
    out = []
    for plan, one in zip(plans, series, strict=True):
        if one.independent:  # what `recognise` made of several axes side by side is not asked here
            out.append(replace(plan, use=plans[first].use, quantity="", axis=None))
        else:
            out.append(replace(plan, axis=axes.get(one.group, first)))
    return tuple(out)


def _table(series: Sequence[Series], filename: str) -> Table:
    longest = max(len(one.values) for one in series)
    table = Table(
        np.arange(1, longest + 1),
        lambda row, column, header: f"value {row} of series {column} {header} in {filename}",
    )
    for index, one in enumerate(series):
        if isinstance(one.values, tuple):
            changes = [
                (row, word)
                for row, word in enumerate(one.values)
                if word and (row == 0 or one.values[row - 1] != word)
            ]
            table.marks[index], table.filled[index] = changes, sum(1 for word in one.values if word)
            continue
        values = np.asarray(one.values, dtype=float)
        if not one.gaps:
            values = _with_gaps(one, values, index, table)
        table.numbers[index] = np.concatenate([values, np.full(longest - len(values), np.nan)])
    return table


def _with_gaps(one: Series, values: Floats, index: int, table: Table) -> Floats:
    """Return values with a gap where a few are not finite; an axis, or many, are refused."""
    strange = np.flatnonzero(~np.isfinite(values))
    if not len(strange):
        return values
    if one.independent or len(strange) > assemble.MOST_FAILED * len(values):
        raise UnreadableFile(
            f"{len(strange)} of {len(values)} values are not finite numbers.",
            where=table.where(int(strange[0]) + 1, index + 1, shown(one.name)),
            mend="Export the run again, leaving out the samples that have no value.",
            code="not-finite",
        )
    table.notes.append(f"{counted(len(strange), 'value')} of {shown(one.name)} not finite: kept as gaps.")
    return np.where(np.isfinite(values), values, np.nan)
