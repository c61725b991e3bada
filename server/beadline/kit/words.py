"""How numbers and times are written on pages."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

MINUS = "\u2212"
REMEMBERED = 32_768  # numbers: a bed of 300 cycles shows 13,000, most of which it showed before


@lru_cache(maxsize=REMEMBERED)
def number(value: float | None, digits: int = 3) -> str:
    """Write a number with so many significant digits, never in powers of ten for everyday sizes.

    Examples
    --------
    >>> number(0.03456), number(1234.5, 4), number(-0.5, 2), number(None)
    ('0.0346', '1234', '−0.50', '')
    """
    if value is None or not math.isfinite(value):
        return ""
    if value == 0:
        return "0"
    if not 1e-4 <= abs(value) < 1e7:
        return f"{value:.{digits - 1}e}".replace("-", MINUS)
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    return f"{value:.{decimals}f}".replace("-", MINUS)


def with_uncertainty(value: float, u: float, digits: int = 3) -> tuple[str, str]:
    """Write a value and its standard uncertainty with the same decimals.

    One decimal more than `digits` asks for where the uncertainty has something to say there; never more,
    since a small uncertainty from noise alone does not make the last figures meaningful.

    Examples
    --------
    >>> with_uncertainty(0.019412, 0.000034), with_uncertainty(1056.2, 1.8, 4), with_uncertainty(1.2, 0.3)
    (('0.01941', '0.00003'), ('1056.2', '1.8'), ('1.20', '0.30'))
    >>> with_uncertainty(292.374, 0.0023, 4)
    ('292.37', '< 0.01')
    """
    if value == 0 or u <= 0 or not math.isfinite(value) or not math.isfinite(u):
        return number(value, digits), number(u, 2)
    wanted = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    known = max(0, 1 - math.floor(math.log10(u)))
    places = max(wanted, min(known, wanted + 1))
    doubt = f"{u:.{places}f}"
    return f"{value:.{places}f}".replace("-", MINUS), doubt if float(
        doubt
    ) else f"< {10.0**-places:.{places}f}"


def decimals(value: float | None, places: int = 2) -> str:
    """Write a number with so many decimals, for columns of a table that share a scale.

    Examples
    --------
    >>> decimals(0.98765, 3), decimals(-0.001, 2), decimals(None)
    ('0.988', '0.00', '')
    """
    if value is None or not math.isfinite(value):
        return ""
    written = f"{value:.{places}f}"
    return (written if float(written) else f"{0:.{places}f}").replace("-", MINUS)


def signed(value: float | None, places: int = 1) -> str:
    """Write a number with so many decimals and always its sign.

    Examples
    --------
    >>> signed(3.24), signed(-0.5), signed(0.0)
    ('+3.2', '−0.5', '0.0')
    """
    written = decimals(value, places)
    return f"+{written}" if value is not None and float(f"{value:.{places}f}") > 0 else written


def percent(share: float | None) -> str:
    """Write a relative change with its sign, in whole percent.

    Examples
    --------
    >>> percent(0.381), percent(-0.02), percent(0.0)
    ('+38 %', '−2 %', '0 %')
    """
    if share is None or not math.isfinite(share):
        return ""
    rounded = round(100 * share)
    return f"{rounded:+d} %".replace("-", MINUS) if rounded else "0 %"


def moment(value: datetime | None, zone: ZoneInfo) -> str:
    """Write a time in the site's zone.

    Examples
    --------
    >>> from datetime import UTC
    >>> moment(datetime(2031, 3, 12, 14, 5, tzinfo=UTC), ZoneInfo("UTC"))
    '12 Mar 2031 14:05'
    """
    return "" if value is None else f"{value.astimezone(zone):%-d %b %Y %H:%M}"


def day(value: datetime | None, zone: ZoneInfo) -> str:
    """Write a day in the site's zone.

    Examples
    --------
    >>> from datetime import UTC
    >>> day(datetime(2031, 3, 12, tzinfo=UTC), ZoneInfo("UTC"))
    '12 Mar 2031'
    """
    return "" if value is None else f"{value.astimezone(zone):%-d %b %Y}"


def twice(value: str) -> tuple[str, str]:
    """Make an option whose value is its text.

    Examples
    --------
    >>> twice("drifting")
    ('drifting', 'drifting')
    """
    return value, value


def runs(numbers: Iterable[int]) -> str:
    """Write rising whole numbers, neighbours as one.

    Examples
    --------
    >>> runs((1, 2, 3, 5, 7, 8)), runs([4])
    ('1 to 3, 5, 7 to 8', '4')
    """
    found: list[list[int]] = []
    for number in numbers:
        if found and number == found[-1][-1] + 1:
            found[-1][1:] = [number]
        else:
            found.append([number])
    return ", ".join(" to ".join(str(number) for number in run) for run in found)


def short(values: Iterable[float | None]) -> list[float | None]:
    """Cut numbers for a chart to six significant digits, more than a screen shows; None stays None.

    Examples
    --------
    >>> short([0.123456789, None])
    [0.123457, None]
    """
    return [None if value is None else float(f"{value:.6g}") for value in values]


FILTERS = {
    "number": number,
    "decimals": decimals,
    "signed": signed,
    "percent": percent,
    "moment": moment,
    "day": day,
    "twice": twice,
    "runs": runs,
}
