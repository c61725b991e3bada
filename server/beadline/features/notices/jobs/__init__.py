"""What a worker does with a message: writes it in the way of its route, and hands it over."""

from __future__ import annotations

from beadline.features.notices.jobs import chat, mail, webhook
from beadline.features.notices.jobs.errors import NotDelivered
from beadline.features.notices.schemas import Parcel
from beadline.settings import Settings

__all__ = ["NotDelivered", "deliver"]


def deliver(parcel: Parcel, settings: Settings) -> None:
    """Hand a message over.

    Raises
    ------
    NotDelivered
        If the other end did not take it.
    """
    if parcel.kind == "email":
        mail.send(parcel, settings)
    elif parcel.kind == "webhook":
        webhook.send(parcel)
    else:
        chat.send(parcel)
