"""What a column's header says: its name, its unit, and what it measures."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from beadline.reading.units import Unit, unit_of

_NAMES: tuple[tuple[str, str], ...] = (
    ("conductivity", r"cond|leitf|leitwert|lf\b|\bec\b|\bcd\b|κ|kappa|電導|伝導|導電"),
    ("uv", r"\buv|\buv/?vis|ass?orba|absor|吸光|紫外|\babs\b|\babs[ _.]?\d|extin|\bod\b|\bod ?\d"
           r"|\bdo ?[23]\d\d|\ba[ "
           r"_.]?(?:2\d\d|3\d\d)\b|\b(?:2[0-9]0|254|3[0-6]0) ?nm|detector"),
    ("ph", r"(?<![a-z])ph(?![a-z])"),
    ("pressure", r"press|druck|presi[oó]n|圧力|差圧|\bpres\b|\bdp\b|Δ ?p|delta ?p|\bp[ "
                 r"-]?(?:pre|post|in|out|col|sys|vor|nach|\d)\b|\bpt[ -]?\d+|\bpi[ct]?[ -]?\d+"),
    ("flow", r"flow|durchfl|volumenstrom|flu(?:ss|ß|xo?)\b|vazão|流量|流速|d[ée]bit|caudal|portata"
             r"|\bfi[ct]?[ "
             r"-]?\d+|\bft[ -]?\d+|pump rate|f[öo]rder|velocity"),
    ("temperature", r"temp(?!s|o\b)|温度|\bt[ -]?(?:in|out|col)\b|\bti[ct]?[ -]?\d+|\btt[ -]?\d+"),
    ("volume", r"vol|eluate|容量|体積|積算|液量|totali[sz]e?r?|\bv\b|\bvr\b|\bcv\b|\bml\b|\bbv\b"),
    ("time", r"time|zeit|\btemps\b|tiempo|\btempo\b|時間|時刻|\bhora\b|heure|elapsed|\bt\b|\bmin(?:utes)?\b"
        r"|duration|seconds|horodat"),
    ("date", r"date|datum|日付|日時|fecha|\bdata\b"),
    ("mark", r"phase|step\b|stage|schritt|[ée]tape|etapa|\bfase|event|ereignis"
        r"|block|segment|section|abschnitt|\bmark"
        r"|operation|instruction"
        r"|recipe|工程|ステップ|フェーズ|イベント"
        r"|\bzone\b|log ?book|comment|remark|annotation|action|bemerkung|kommentar"),
    ("quality", r"quality|status|valid|qualit"),
)  # fmt: skip
_NAMES_COMPILED = tuple((kind, re.compile(pattern, re.IGNORECASE)) for kind, pattern in _NAMES)
_NOT_MEASURED = re.compile(
    r"set[ "
    r"_-]?p(?:oin)?t|\bset\b|setpoint|\bsp\b|sollwert|\bsoll\b|target|limit|alarm|consigne|設定|ratio|gradient|conc\b|concentration"
    r"|pool|fraction|tank|vessel|fra[ck]tion|inlet valve|outlet valve",
    re.IGNORECASE,
)
_BRACKETS = re.compile(r"[\[({<]([^\[\](){}<>]{1,24}(?:\([a-z]\))?)[\])}>]")
# Units of quantities that are not read; other short words in their place name pumps and valves.
_FOREIGN = ("V", "mV", "mA", "µA", "W", "Hz", "rpm", "N")
_ROLES = (
    ("delta", r"delta|Δ|\bdp\b|diff|\bdrop\b|verlust|across"),
    (
        "post",
        r"post|outlet|\bout\b|after|down ?stream|nach|ausgang|sortie|behind|\bp[ -]?2\b|exit|bottom"
        r"|salida|uscita|saída|出口|カラム後",
    ),
    (
        "pre",
        r"pre(?!ss)|inlet|\bin\b|before|up ?stream|\bvor|eingang|entr[ée]e|feed"
        r"|entrada|ingresso|入口|カラム前|\bp[ -]?1\b|\btop\b",
    ),
)


@dataclass(frozen=True, slots=True)
class Header:
    """A header, taken apart.

    Attributes
    ----------
    written : str
        As in the file.
    unit : Unit or None
    kinds : tuple of str
        What the words speak of.
    measured : bool
        False for set points, limits and other values that no probe gave.
    role : str
        "pre", "post", "delta" or "".
    """

    written: str
    unit: Unit | None
    kinds: tuple[str, ...]
    measured: bool
    role: str


@lru_cache(maxsize=1024)
def understand(written: str, unit_cell: str = "") -> Header:
    """Take a header apart; `unit_cell` is what the row of units says below it."""
    plain = written if written.isascii() else unicodedata.normalize("NFKC", written)
    unit = unit_of(unit_cell) if unit_cell else None
    name = plain
    if unit is None:
        name, unit = _unit_in(plain)
    words = re.sub(r"[_.]+", " ", name if name.strip() else plain)
    words += " | " + re.sub(r"(?<=[a-z])(?=[A-Z])", " ", words)
    kinds = tuple(kind for kind, pattern in _NAMES_COMPILED if pattern.search(words))
    if unit is not None and unit.text == "ms" and "conductivity" in kinds and "time" not in kinds:
        unit = None  # "Cond (mS)": siemens, not seconds
    role = next((role for role, pattern in _ROLES if re.search(pattern, words, re.IGNORECASE)), "")
    return Header(written, unit, kinds, not _NOT_MEASURED.search(words), role)


def _unit_in(written: str) -> tuple[str, Unit | None]:
    """Return the name without its unit, and the unit, wherever the header carries it."""
    for name, candidate in _candidates(written):
        unit = unit_of(candidate)
        if unit is not None and (unit.kind != "another quantity" or unit.text in _FOREIGN):
            return name, unit
    return written, None


def _candidates(written: str) -> Iterator[tuple[str, str]]:
    """Yield name and possible unit: in brackets, "name, unit", "name/unit", last words, "name_unit"."""
    for found in reversed(list(_BRACKETS.finditer(written))):
        yield written[: found.start()] + written[found.end() :], found.group(1)
    for mark in (",", ";", ":", " in ", "/", " - "):
        name, _, rest = written.partition(mark)
        if rest and len(name.strip()) > (mark == "/" and 0):
            yield name, rest.strip()
    words = written.split()
    for count in (1, 2):
        if len(words) > count and len(words[-1]) <= 10:
            yield " ".join(words[:-count]), " ".join(words[-count:])
    parts = written.split("_")
    if len(parts) > 2 and parts[-2].lower() == "per" and len(parts) > 3:
        yield " ".join(parts[:-3]), f"{parts[-3]}/{parts[-1]}"
    if len(parts) > 2:
        yield " ".join(parts[:-2]), f"{parts[-2]}/{parts[-1]}"
    if len(parts) > 1:
        yield " ".join(parts[:-1]), parts[-1]
    yield "", written
