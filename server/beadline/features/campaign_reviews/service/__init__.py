"""Review a bed before a campaign: forecast, checks, a proposal, and the signatures of people."""

from beadline.features.campaign_reviews.service.choosing import choose, left_out, versions
from beadline.features.campaign_reviews.service.coming import came
from beadline.features.campaign_reviews.service.planning import call_off, not_reviewed, plan
from beadline.features.campaign_reviews.service.report import report
from beadline.features.campaign_reviews.service.reviewing import (
    get,
    get_to_sign,
    listed,
    of_packing,
    start,
    unfinished,
)
from beadline.features.campaign_reviews.service.rules import RULES
from beadline.features.campaign_reviews.service.signing import approve, content_sha256, decide, signatures

__all__ = [
    "RULES",
    "approve",
    "call_off",
    "came",
    "choose",
    "content_sha256",
    "decide",
    "get",
    "get_to_sign",
    "left_out",
    "listed",
    "not_reviewed",
    "of_packing",
    "plan",
    "report",
    "signatures",
    "start",
    "unfinished",
    "versions",
]
