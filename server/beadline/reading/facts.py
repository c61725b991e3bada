"""Facts that the columns alone don't hold: a constant flow, the bed volume, the column's cross-section."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace

from beadline.reading import cells
from beadline.reading.headers import understand
from beadline.reading.units import Unit, unit_of
from beadline.reading.wording import shown

_FLOW = re.compile(r"flow|durchfl|d[ée]bit|caudal", re.IGNORECASE)
_BED = re.compile(r"\bcv\b|(?:column|bed|packed|s[äa]ulen|bett)[ -]?(?:bed )?vol", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Facts:
    """What was given by the caller, or stands above the numbers; None where unknown."""

    flow_m3_s: float | None = None
    bed_volume_m3: float | None = None
    column_area_m2: float | None = None


def from_preamble(rows: Iterable[list[str]], decimal: str, facts: Facts) -> tuple[Facts, list[str]]:
    """Add what the lines above the header say to what is known already."""
    notes = []
    for number, row in enumerate(rows, 1):
        value, unit = _value(row, decimal)
        if value is None or unit is None or value <= 0:
            continue
        named = f"line {number} says {shown(' '.join(cell for cell in row if cell))}"
        if facts.flow_m3_s is None and unit.kind == "flow" and _FLOW.search(row[0]):
            facts = replace(facts, flow_m3_s=value * unit.factor)
            notes.append(f"A constant flow is taken from above the numbers: {named}.")
        elif facts.bed_volume_m3 is None and unit.kind == "volume" and _BED.search(row[0]):
            facts = replace(facts, bed_volume_m3=value * unit.factor)
            notes.append(f"The bed volume is taken from above the numbers: {named}.")
    return facts, notes


def _value(row: list[str], decimal: str) -> tuple[float | None, Unit | None]:
    """Return the number and the unit of a line such as "Flow rate (mL/min); 2,5" or "Flow: 2.5 mL/min"."""
    words = [word for cell in row for word in re.split(r"[:=]", cell)]
    words = [word.strip() for word in words if word.strip()]
    if len(words) < 2:
        return None, None
    parts = words[1].split(None, 1)
    if not cells.is_number(parts[0], decimal):
        return None, None
    unit = (
        unit_of(parts[1])
        if len(parts) > 1
        else unit_of(words[2])
        if len(words) > 2
        else understand(words[0]).unit
    )
    return cells.to_float(parts[0], decimal), unit
