"""Alerts: one for each event of a bed; raised with the run that shows it, and followed by people."""

from beadline.features.alerts.service.evidence import curve_of, done_near, evidence_of
from beadline.features.alerts.service.following import follow
from beadline.features.alerts.service.handling import acknowledge, assign, close, may_handle, remark, shelve
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
from beadline.features.alerts.service.pictures import LARGEST_MB, add_picture, picture_content

__all__ = [
    "LARGEST_MB",
    "acknowledge",
    "add_picture",
    "assign",
    "close",
    "counts",
    "curve_of",
    "done_near",
    "evidence_of",
    "follow",
    "get",
    "listed",
    "matched",
    "may_handle",
    "newest_open",
    "of_bed",
    "picture_content",
    "remark",
    "shelve",
    "standing",
    "told_at",
    "waiting",
]
