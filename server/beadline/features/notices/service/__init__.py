"""Notices: routes, the outbox, escalation."""

from beadline.features.notices.service.composing import parcel
from beadline.features.notices.service.due import anything_due
from beadline.features.notices.service.escalating import escalate
from beadline.features.notices.service.outbox import ask_for_test, claim, held, settle, tell
from beadline.features.notices.service.routes import add, change, every, get, switch

__all__ = [
    "add",
    "anything_due",
    "ask_for_test",
    "change",
    "claim",
    "escalate",
    "every",
    "get",
    "held",
    "parcel",
    "settle",
    "switch",
    "tell",
]
