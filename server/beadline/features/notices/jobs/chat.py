"""Send a message to a chat, through the notification library."""

from __future__ import annotations

from beadline.features.notices.jobs import wording
from beadline.features.notices.jobs.errors import NotDelivered
from beadline.features.notices.schemas import Parcel


def send(parcel: Parcel) -> None:
    """Hand a message to the chat service.

    Raises
    ------
    NotDelivered
        If the service did not take it; the library's own words may hold tokens and are not repeated.
    """
    from apprise import Apprise, NotifyFormat  # heavy, and needed by few

    chat = Apprise()
    if not chat.add(parcel.target):
        raise NotDelivered("The notification library does not know this service any more.")
    taken = chat.notify(
        title=wording.subject_of(parcel), body=wording.text_of(parcel), body_format=NotifyFormat.TEXT
    )
    if not taken:
        raise NotDelivered("The chat service did not take it; test its address with the service itself.")
