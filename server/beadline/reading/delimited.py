"""Delimited text: found out once, read by profile ever after."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import islice
from typing import Protocol

from beadline.reading import (
    aligned,
    assemble,
    choose,
    columns,
    delimiters,
    facts,
    fit,
    layout,
    lines,
    long_form,
    long_shape,
    table,
)
from beadline.reading.errors import UnreadableFile
from beadline.reading.facts import Facts
from beadline.reading.profile import Kind, Profile
from beadline.reading.rows import Sorter
from beadline.reading.sample import Sample
from beadline.reading.trace import Trace
from beadline.reading.wording import counted, shown

SAMPLE = 400
DEEPEST = 5_000
SPARE = 40


class Source(Protocol):
    """Lines of a table, and the words for a place among them."""

    @property
    def filename(self) -> str: ...

    @property
    def log(self) -> Sequence[tuple[int, list[str]]]: ...

    def __iter__(self) -> Iterator[str]: ...

    def blocks(self, above: int) -> Iterator[tuple[int, str]]: ...

    def tail(self) -> list[str]: ...

    def where(self, number: int, column: int, header: str = "") -> str: ...


def read(content: bytes, filename: str, profile: Profile | None, given: Facts) -> Trace:
    """Read delimited text; see `reader.read`."""
    encoding = lines.encoding_of(content, filename)  # also with a profile: the same skid may change it
    source = lines.TextLines(content, encoding, filename)
    return read_lines(source, profile, given, kind="text", encoding=encoding)


def read_lines(
    source: Source, profile: Profile | None, given: Facts, *, kind: Kind, encoding: str = "", sheet: str = ""
) -> Trace:
    """Read the lines of a text, or of a sheet turned into lines."""
    if profile is not None and profile.kind != "long":
        first, preamble = _place(source, profile, list(islice(iter(source), SAMPLE)))
        said = [f"The file fits its reading profile; numbers from line {first + 1}."]
        return _read(source, profile, first, said, _complete(profile, preamble, given))
    sample = _sample(source, SAMPLE)
    listed = long_shape.find(sample)
    if listed is not None or profile is not None:
        return long_form.read(source, source.filename, listed, profile, given)
    shape = _shape(source, sample)
    rows = _rows(source, sample, shape)
    layout.refuse_decimal_commas(shape, rows[shape.first :], source.where(shape.first + 1, 1))
    guess = columns.recognise(
        shape.header,
        shape.unit_row,
        rows[shape.first :: 1 + len(rows) // 100],
        decimal=shape.decimal,
        width=shape.width,
    )
    known, notes = facts.from_preamble(rows[: shape.preamble], shape.decimal, given)
    plans = choose.one_flow(guess.plans)
    draft = Profile(
        kind, plans, choose.likely(plans), shape.header,
        encoding, shape.delimiter, shape.decimal, sheet,
        known.flow_m3_s, known.bed_volume_m3, known.column_area_m2,
    )  # fmt: skip
    try:
        axis, why = choose.axis(plans, known, shape.header, source.filename)
        made = replace(draft, axis=axis, columns=choose.without_unclear_clocks(plans))
        said = [_about(shape, kind, encoding, sheet), *guess.notes, *notes, why]
        return _read(source, made, shape.first, said, made)
    except UnreadableFile as error:
        error.draft = draft if shape.header else None
        raise


def _place(source: Source, profile: Profile, sample: Sequence[str]) -> tuple[int, Sequence[str]]:
    """Find a profile's header near the top, or further down after a long preamble."""
    try:
        return fit.place_of(profile, sample, source.filename)
    except UnreadableFile:
        if len(sample) < SAMPLE:
            raise
        return fit.place_of(profile, _wider(source), source.filename)


def _sample(source: Source, size: int) -> Sample:
    read = list(islice(iter(source), size + SPARE))
    return Sample(read[:size], source.tail()[-SAMPLE:], source.filename, following=read[size:])


def _shape(source: Source, sample: Sample) -> layout.Layout:
    """Find the table near the top, or further down after a long preamble."""
    try:
        return layout.find(sample)
    except UnreadableFile:
        if len(sample.lines) < SAMPLE:
            raise
        return layout.find(_sample(source, DEEPEST))


def _rows(source: Source, sample: Sample, shape: layout.Layout) -> list[list[str]]:
    """Return the cells of what stands above the numbers, and of some rows of these."""
    more: Iterable[str] = sample.following[: shape.first]
    if shape.first > len(sample.following) == SPARE:
        more = islice(iter(source), SAMPLE, shape.first + SAMPLE)
    return [*sample.rows(shape.delimiter), *(delimiters.split(line, shape.delimiter) for line in more)]


def _wider(source: Source) -> Sequence[str]:
    return list(islice(iter(source), DEEPEST))


def _about(shape: layout.Layout, kind: Kind, encoding: str, sheet: str) -> str:
    header = counted(len(shape.header), "header row")
    if kind == "workbook":
        return f"Sheet {shown(sheet)} is read, with {header}; numbers start on row {shape.first + 1}."
    mark = "comma" if shape.decimal == "," else "point"
    return (
        f"The text is {lines.encoding_words(encoding)} with "
        f"{delimiters.WORDS[shape.delimiter]} between cells and a decimal {mark}; "
        f"{header} after {counted(shape.preamble, 'line')} of preamble, numbers from line {shape.first + 1}."
    )


def _complete(profile: Profile, preamble: Iterable[str], given: Facts) -> Profile:
    """Let what this run says of flow and bed volume go before what the profile remembers."""
    rows = [delimiters.split(line, profile.delimiter) for line in preamble]
    known, _ = facts.from_preamble(rows, profile.decimal, given)
    return fit.with_facts(profile, known)


def _read(
    source: Source, profile: Profile, first: int, notes: Sequence[str], facts_profile: Profile
) -> Trace:
    spaced = profile.delimiter == lines.SPACES
    axes = choose.axis_columns(profile)
    signals = [plan.index for plan in profile.columns if plan.use == "signal"]
    width = (
        max(len(profile.columns), *(len(row) for row in profile.header))
        if profile.header
        else len(profile.columns)
    )
    delimiter = "\t" if spaced else profile.delimiter
    sorter = Sorter(delimiter, profile.decimal, width, profile.header, axes, signals, source.where)
    blocks = source.blocks(first)
    if spaced:
        sample = islice(iter(source), first, first + SAMPLE)
        blocks = aligned.alignment(sample, profile, width).tabbed(blocks)
    found = table.read(blocks, profile.columns, sorter)
    top = [
        delimiters.split(line, profile.delimiter) for line in islice(iter(source), min(first, DEEPEST) + 1)
    ]
    found.log = source.log
    found.above = list(enumerate(top[:first], 1))
    found.first = top[first] if first < len(top) else []
    return assemble.trace(found, facts_profile, notes)
