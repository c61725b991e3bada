"""What a single cell of text is: a number, a time, a word for "no value", or text."""

from __future__ import annotations

import math
import re
from collections.abc import Collection
from functools import cache

_THOUSANDS = "[,.' \u00a0\u2009\u202f’]"

# Words that loggers write in place of a value. "NaN" and "inf" are not among them: they come out of a failed
# calculation, and many of them mean that the export is wrong.
QUALITY_WORDS = frozenset([
    "bad", "no data", "nodata", "offline", "off-line", "off line", "n/a", "na", "n.a.", "#n/a", "null",
    "none", "invalid", "error", "err", "fault", "fail", "failed", "missing", "not connected", "i/o timeout",
    "io timeout", "timeout", "comm fail", "comm error", "bad input", "pt created", "over", "under",
    "over range", "under range", "overflow", "underflow", "out of range", "shutdown", "no value",
    "not available", "not a value", "uncertain", "unknown", "void", "empty", "blank", "?", "-", "--", "---",
    "----", "–", "—", "*", "**", "***", "****", "*****", ".", "..", "...", "x", "xxx", "#", "##", "###",
    "####", "#####", "######",
])  # fmt: skip
FAILED_WORDS = frozenset([
    "nan", "inf", "infinity", "1.#qnan", "1.#ind", "1.#inf", "#num!", "#div/0!", "#value!", "#ref!",
    "#name?",
])  # fmt: skip
GOOD_WORDS = frozenset([
    "good", "ok", "valid", "true", "1", "normal", "192", "0xc0", "g", "good data", "good quality",
    "healthy",
])  # fmt: skip
SWITCH_WORDS = frozenset(
    ["yes", "no", "on", "off", "true", "false", "open", "closed", "ja", "nein", "oui", "non"]
)

_CLOCK = r"\d{1,4}:[0-5]?\d(?::[0-5]?\d(?:[.,]\d+)?)?(?:\s*[AaPp]\.?[Mm]\.?)?"
_DATE = (
    r"(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/. ](?:\d{1,2}|[A-Za-zäéû]{3,9}\.?)[-/. ]\d{2,4}|\d{8}(?=T))"
)
_ZONE = r"(?:\s*(?:Z|UTC|GMT|[+-]\d{2}:?\d{2}))?"
CLOCK = re.compile(_CLOCK)
DATE = re.compile(_DATE)
WHEN = re.compile(rf"(?:{_DATE}(?:(?:[T ]|,? +|_){_CLOCK}{_ZONE})?|{_CLOCK}|\d{{8}}T\d{{6}}{_ZONE})")
PERIOD = re.compile(r"P?T?(?:\d+\s*(?:d|days?)[ ,]*)?\d{1,4}:\d\d:\d\d(?:[.,]\d+)?")


@cache
def number_pattern(decimal: str) -> re.Pattern[str]:
    """Return the pattern of a cell that is a number with this decimal mark, thousands grouped or not."""
    mark = re.escape(decimal)
    grouping = _THOUSANDS.replace(decimal, "")
    return re.compile(
        rf"[+-−]?(?:\d+(?:{mark}\d*)?|{mark}\d+)(?:[eEdD][+-−]?\d+)?"
        rf"|[+-−]?[1-9]\d{{0,2}}(?P<group>{grouping})\d{{3}}(?:(?P=group)\d{{3}})*(?:{mark}\d*)?".replace(
            "[+-−]", "[+\\-−]"
        )
    )


def to_float(cell: str, decimal: str) -> float:
    """Return the number in a cell that `number_pattern` matched."""
    plain = re.sub(_THOUSANDS.replace(decimal, ""), "", cell)
    return float(plain.replace(decimal, ".").replace("−", "-").replace("d", "e").replace("D", "e"))


def all_plain(written: Collection[str], decimal: str) -> bool:
    """Tell quickly whether all cells are numbers without groups of thousands; False may be wrong."""
    if decimal == ",":
        text = "\n".join(written)
        if "." in text or not text:
            return False
        written = text.replace(",", ".").split("\n")
    try:
        total = sum(map(float, written))
    except ValueError:
        return False
    return math.isfinite(total) and "_" not in "".join(written)


def is_number(cell: str, decimal: str) -> bool:
    """Tell whether a cell is a finite number."""
    return number_pattern(decimal).fullmatch(cell) is not None


def is_when(cell: str) -> bool:
    """Tell whether a cell is a clock time, a date or both."""
    try:
        float(cell)
    except ValueError:
        return WHEN.fullmatch(cell) is not None or PERIOD.fullmatch(cell) is not None
    return False  # a plain number, as most cells are: it needs no pattern


def is_quality(cell: str) -> bool:
    """Tell whether a cell holds a word that stands for a missing value."""
    return cell.lower() in QUALITY_WORDS


def is_aside(cell: str) -> bool:
    """Tell whether a cell holds a word for no value, for a quality, or for the state of a switch."""
    if cell[0].isdigit():
        return False
    lower = cell.lower()
    return lower in QUALITY_WORDS or lower in GOOD_WORDS or lower in SWITCH_WORDS or is_failed(cell)


def is_failed(cell: str) -> bool:
    """Tell whether a cell holds what a failed calculation leaves: NaN, infinity, a spreadsheet's error."""
    return cell.lower().lstrip("+-") in FAILED_WORDS
