"""Notices: routes, the outbox, escalation."""

from beadline.features.notices.service.composing import parcel
from beadline.features.notices.service.due import anything_due
from beadline.features.notices.service.escalating import escalate
from beadline.features.notices.service.links import acknowledge, followed
from beadline.features.notices.service.listing import deliveries_of, latest_of, lines
from beadline.features.notices.service.outbox import ask_for_test, claim, held, settle, tell
from beadline.features.notices.service.routes import add, change, every, get, switch

__all__ = [
    "acknowledge",
    "add",
    "anything_due",
    "ask_for_test",
    "change",
    "claim",
    "deliveries_of",
    "escalate",
    "every",
    "followed",
    "get",
    "held",
    "latest_of",
    "lines",
    "parcel",
    "settle",
    "switch",
    "tell",
]
