"""Whether a saved reading profile fits a file, and what changed if it does not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from beadline.reading import delimiters, layout
from beadline.reading.errors import UnreadableFile
from beadline.reading.facts import Facts
from beadline.reading.profile import Profile
from beadline.reading.sample import Sample
from beadline.reading.wording import shown


def place_of(profile: Profile, sample: Sequence[str], filename: str) -> tuple[int, Sequence[str]]:
    """Return how many lines are above the numbers, and the lines of the preamble.

    Raises
    ------
    UnreadableFile
        If the profile's header is not in the file.
    """
    if not profile.header:
        return 0, ()
    wanted = [_bare(row) for row in profile.header]
    first_cell = next((cell for cell in wanted[0] if cell), "")
    candidates = [number for number, line in enumerate(sample) if first_cell in line]
    for start in candidates:
        number, found = start, 0
        while number < len(sample) and found < len(wanted):
            row = _bare(delimiters.split(sample[number], profile.delimiter))
            if row and row == wanted[found]:
                found += 1
            elif any(row):
                break
            number += 1
        if found == len(wanted):
            return number, sample[:start]
    raise _mismatch(profile, sample, filename)


def with_facts(profile: Profile, known: Facts) -> Profile:
    """Return the profile with facts of this run in place of those it remembers."""
    return replace(
        profile,
        flow_m3_s=known.flow_m3_s or profile.flow_m3_s,
        bed_volume_m3=known.bed_volume_m3 or profile.bed_volume_m3,
        column_area_m2=known.column_area_m2 or profile.column_area_m2,
    )


def _bare(row: Sequence[str]) -> tuple[str, ...]:
    cells = list(row)
    while cells and not cells[-1]:
        cells.pop()
    return tuple(cells)


def _mismatch(profile: Profile, sample: Sequence[str], filename: str) -> UnreadableFile:
    shape = layout.find(Sample(sample, (), filename))
    if shape.delimiter != profile.delimiter:
        was, now = (
            delimiters.WORDS.get(profile.delimiter, profile.delimiter),
            delimiters.WORDS[shape.delimiter],
        )
        said = f"The profile expects {was} between cells, but the file has {now}"
    elif not shape.header:
        said = "The profile expects a header, but no line above the numbers names the columns"
    else:
        said = _changed(profile.header, shape.header)
        said = said[0].upper() + said[1:]
    return UnreadableFile(
        f"The file does not fit its reading profile. {said}.",
        where=f"line {shape.preamble + 1} of {filename}",
        mend="If the skid's export changed for good, let this file be recognised afresh "
        "and save a new version of the profile.",
        code="profile-mismatch",
    )


def _changed(old: Sequence[Sequence[str]], new: Sequence[Sequence[str]]) -> str:
    """Name what is missing, new or renamed in the header."""
    before, after = _names(old), _names(new)
    if sorted(before) == sorted(after):
        return "The columns are the same, but in another order"
    gone, added = (
        [name for name in before if name not in after],
        [name for name in after if name not in before],
    )
    if len(before) == len(after):
        pairs = [(place, a, b) for place, (a, b) in enumerate(zip(before, after, strict=True), 1) if a != b]
        return "; ".join(f"column {place} was {shown(a)} and is now {shown(b)}" for place, a, b in pairs[:4])
    words = [f"{shown(name)} is missing" for name in gone[:4]] + [
        f"{shown(name)} is new" for name in added[:4]
    ]
    return "; ".join(words) or f"It had {len(before)} columns and has {len(after)}"


def _names(header: Sequence[Sequence[str]]) -> list[str]:
    width = max(len(row) for row in header)
    names = [
        " ".join(row[index] for row in header if index < len(row) and row[index]) for index in range(width)
    ]
    return [*_bare(names)]
