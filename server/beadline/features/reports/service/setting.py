"""What every report shares: the sheet, a bed's facts, the audit trail, and the hash over what is said."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from beadline.features.packings import service as packings
from beadline.features.records import queries as record_queries
from beadline.kit import paper, words
from beadline.store.tables import Packing


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """How a report is printed: paper, the site's zone, whether the data are invented, and when."""

    paper: str
    zone: ZoneInfo
    demo: bool
    at: datetime

    def moment(self, value: datetime | None) -> str:
        """Write a time in the site's zone."""
        return words.moment(value, self.zone)

    def printed(self, template: str, said: Mapping[str, Any], pictures: Mapping[str, Any]) -> bytes:
        """Return a report as PDF; each page bears the hash over all that it says."""
        whole = {
            **said,
            **pictures,
            "sha256": content_sha256(said),
            "demo": self.demo,
            "printed": f"{self.moment(self.at)} {self.zone.key}",
        }
        return paper.pdf(template, whole, paper=self.paper, at=self.at)


def content_sha256(said: Mapping[str, Any]) -> str:
    """Return the SHA-256 over all that a report says; two prints with the same hash say the same.

    Examples
    --------
    >>> content_sha256({"b": 1, "a": 2}) == content_sha256({"a": 2, "b": 1})
    True
    """
    written = json.dumps(said, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(written.encode()).hexdigest()


def bed_facts(packing: Packing, sheet: Sheet) -> list[list[str]]:
    """Return what identifies a bed, as names with values."""
    column, resin = packing.column, packing.lot.resin
    litres = packings.bed_of(packing).bed_volume_m3 * 1e3
    size = f"{words.number(column.inner_diameter_mm / 10)} cm × {words.number(packing.bed_height_mm / 10)} cm"
    return [
        ["Column", f"{column.name} ({column.asset_tag})"],
        ["Resin, lot", f"{resin.name}, {packing.lot.lot_number}"],
        ["Bed", f"{size}, {words.number(litres)} L"],
        ["Beads", f"{words.number(resin.bead_diameter_um)} µm mean diameter"],
        ["Packed", sheet.moment(packing.packed_at)],
        ["Unpacked", sheet.moment(packing.unpacked_at) or "in use"],
    ]


def bed_name(packing: Packing) -> str:
    """Name a bed."""
    return f"{packing.column.name}, packing {packing.number}"


def trail(session: Session, things: Sequence[tuple[str, int]], sheet: Sheet) -> list[dict[str, Any]]:
    """Return the records of the audit trail about some things, oldest first, with their hashes."""
    found = [record for thing in things for record in record_queries.of_thing(session, *thing)]
    return [
        {
            "id": one.id,
            "at": sheet.moment(one.at),
            "who": one.user_name,
            "did": one.did,
            "said": one.said,
            "why": one.why,
            "sha256": one.sha256,
        }
        for one in sorted(found, key=lambda record: record.id)
    ]
