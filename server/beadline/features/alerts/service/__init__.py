"""Alerts: one for each event of a bed; raised with the run that shows it, and followed by people."""

from beadline.features.alerts.service.evidence import evidence_of
from beadline.features.alerts.service.following import follow
from beadline.features.alerts.service.handling import acknowledge, close, remark, shelve
from beadline.features.alerts.service.listing import (
    counts,
    get,
    listed,
    newest_open,
    of_bed,
    standing,
    told_at,
    waiting,
)
from beadline.features.alerts.service.matching import matched

__all__ = [
    "acknowledge",
    "close",
    "counts",
    "evidence_of",
    "follow",
    "get",
    "listed",
    "matched",
    "newest_open",
    "of_bed",
    "remark",
    "shelve",
    "standing",
    "told_at",
    "waiting",
]
