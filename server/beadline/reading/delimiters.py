"""What sets the cells of a text apart, and what mark its decimals have."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence

from beadline.reading import cells, heading
from beadline.reading.lines import SPACES

DELIMITERS = ("\t", ";", ",", "|", SPACES)
WORDS = {"\t": "tab", ";": "semicolon", ",": "comma", "|": "vertical bar", SPACES: "blanks"}
_LONGEST = 5000  # letters of a line that are looked at
_AT_ONCE = 12  # lines after which it is asked whether a mark can still win
_ALIKE = 1e-4  # part by which scores may differ and still count as the same
_DOUBTFUL = {SPACES: 0.8}  # blanks stand between words as well
Rows = list[list[str]]


def split(line: str, delimiter: str) -> list[str]:
    """Return the cells of a line, blanks around them taken off."""
    if delimiter == SPACES:
        return re.split(r"\s{2,}|\t", line.strip()) if is_wide(line) else line.split()
    if '"' in line:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter, skipinitialspace=True))]
    if " " not in line and line.isascii():
        bare = line.replace("\t", "") if delimiter == "\t" else line
        if bare.isprintable():  # no blank of any kind is in it
            return line.split(delimiter)
    return [cell.strip() for cell in line.split(delimiter)]


def is_wide(line: str) -> bool:
    """Tell whether a line has cells more than one blank apart, so that a cell may hold one."""
    return re.search(r"\S(?:\s{2,}|\t)\S", line) is not None


def marks(lines: Sequence[str]) -> tuple[str, str] | None:
    """Return the delimiter and the decimal mark under which most of the lines become numbers.

    Notes
    -----
    Each candidate's score is bounded by its number of cells, so that those which can't win are not counted.
    """
    lines = [line[:_LONGEST] for line in lines]
    most = _most(lines)
    leader = max(DELIMITERS, key=lambda delimiter: most[delimiter])
    rows_of_leader = _split_all(lines, leader)
    of_leader = _scores(rows_of_leader, leader)
    best, choice = 0.0, None
    for delimiter in DELIMITERS:
        if delimiter != leader and most[delimiter] < max(of_leader) * (1 - 10 * _ALIKE):
            continue
        rows = rows_of_leader if delimiter == leader else _split_all(lines, delimiter)
        scores = of_leader if delimiter == leader else _scores(rows, delimiter)
        for decimal, score in zip(".,", scores, strict=True):
            if score > best * (1 + _ALIKE) or (
                score > 0 and abs(score - best) <= _ALIKE * best and _commas_decide(rows, choice, delimiter)
            ):
                best, choice = score, (delimiter, decimal)
    return choice


def _split_all(lines: Sequence[str], delimiter: str) -> Rows:
    return [split(line, delimiter) for line in lines]


def _most(lines: Sequence[str]) -> dict[str, float]:
    """Return for each delimiter a score that it can't exceed: that of nothing but numbers, two in a line."""
    text = "\n".join(lines)
    between = {delimiter: text.count(delimiter) for delimiter in DELIMITERS if delimiter != SPACES}
    between[SPACES] = len(text.split()) - sum(1 for line in lines if line and not line.isspace())
    return {delimiter: 2 * count * _DOUBTFUL.get(delimiter, 1.0) for delimiter, count in between.items()}


def _scores(rows: Rows, delimiter: str) -> tuple[float, float]:
    """Return the scores with decimal points and with decimal commas; 0 for commas that can't win."""
    weight = _DOUBTFUL.get(delimiter, 1.0)
    points = _score(rows, ".")
    return points * weight, _score(rows, ",", least=points * (1 - 10 * _ALIKE)) * weight


def _score(rows: Rows, decimal: str, least: float = 0.0) -> float:
    """Return the sum over the rows of numbers, squared, by cells; 0 once it can't reach the least."""
    total, to_come = 0.0, sum(map(len, rows))
    step = _AT_ONCE if least else max(1, len(rows))
    for start in range(0, len(rows), step):
        some = rows[start : start + step]
        total += sum(n * n / known for n, known in heading.counts(some, decimal) if n >= 2)
        to_come -= sum(map(len, some))
        if total + to_come < least:
            return 0.0
    return total


def _commas_decide(rows: Rows, choice: tuple[str, str] | None, delimiter: str) -> bool:
    """Both marks fit: the comma is the decimal one if commas stand in numbers and points don't."""
    if choice is None or choice[0] != delimiter:
        return False
    numeric = [cell for row in rows for cell in row if cells.is_number(cell, ",")]
    if _groups_thousands(rows, "."):
        return True
    return sum("," in cell for cell in numeric) > sum("." in cell for cell in numeric)


def _groups_thousands(rows: Sequence[Sequence[str]], mark: str) -> bool:
    """Tell whether a mark groups thousands: a column has whole numbers up to 999, and larger ones with it."""
    grouped = re.compile(rf"-?[1-9]\d{{0,2}}(?:{re.escape(mark)}\d{{3}})+")
    for column in range(max((len(row) for row in rows), default=0)):
        numeric = [
            row[column] for row in rows if column < len(row) and re.fullmatch(r"-?[\d.,]+", row[column])
        ]
        above = [cell for cell in numeric if mark in cell]
        whole = [cell for cell in numeric if mark not in cell]
        if len(above) >= 2 and len(whole) >= 2 and all(grouped.fullmatch(cell) for cell in above):
            return all(len(cell.lstrip("-")) <= 3 and cell.lstrip("-").isdecimal() for cell in whole)
    return False
