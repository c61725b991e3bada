"""Send a message by e-mail: plain text, and HTML with pictures."""

from __future__ import annotations

import hashlib
import smtplib
import ssl
from dataclasses import dataclass
from email.headerregistry import Address
from email.message import EmailMessage
from email.utils import format_datetime
from zoneinfo import ZoneInfo

from beadline.boundary import templates
from beadline.features.notices.jobs import picture, wording
from beadline.features.notices.jobs.errors import NotDelivered
from beadline.features.notices.schemas import Parcel
from beadline.settings import Settings

WITHIN_S = 20.0


@dataclass(frozen=True, slots=True)
class _Picture:
    name: str
    said: str
    png: bytes

    @property
    def cid(self) -> str:
        return f"{self.name}@beadline"


def send(parcel: Parcel, settings: Settings) -> None:
    """Hand a message to the mail server.

    Raises
    ------
    NotDelivered
        If there is no mail server, or it does not take the message.
    """
    if not settings.smtp_host or not settings.smtp_sender:
        raise NotDelivered("No mail server is set: BEADLINE_SMTP_HOST and BEADLINE_SMTP_SENDER.")
    message = written(parcel, sender=settings.smtp_sender)
    try:
        with _server(settings) as server:
            if settings.smtp_security == "starttls":
                server.starttls(context=ssl.create_default_context())
            if settings.smtp_user:
                server.login(settings.smtp_user, settings.smtp_password.get_secret_value())
            server.send_message(message)
    except (smtplib.SMTPException, OSError) as error:
        where = f"{settings.smtp_host}:{settings.smtp_port}"
        raise NotDelivered(
            f"The mail server {where} did not take it: {error or type(error).__name__}"
        ) from error


def _server(settings: Settings) -> smtplib.SMTP:
    host, port = settings.smtp_host, settings.smtp_port
    if settings.smtp_security == "tls":
        return smtplib.SMTP_SSL(host, port, timeout=WITHIN_S, context=ssl.create_default_context())
    return smtplib.SMTP(host, port, timeout=WITHIN_S)


def written(parcel: Parcel, *, sender: str) -> EmailMessage:
    """Write the message; the same notices get the same Message-ID, so that a repeated one can be told."""
    message = EmailMessage()
    domain = sender.rpartition("@")[2]
    message["Subject"] = wording.subject_of(parcel)
    message["From"] = Address("Beadline", addr_spec=sender)
    message["To"] = Address(addr_spec=parcel.target)
    message["Date"] = format_datetime(parcel.at)
    message["Message-ID"] = f"<{_digest(parcel)}@{domain}>"
    message["Auto-Submitted"] = "auto-generated"
    message.set_content(wording.text_of(parcel))
    page = templates.environment().get_template("notices/email.html")
    zone = ZoneInfo(parcel.zone)
    alerts, pictures = parcel.alerts, _drawn(parcel)
    html = page.render(
        subject=wording.subject_of(parcel),
        test=wording.TEST.format(name=parcel.route_name) if parcel.is_test else "",
        alerts=[
            {"item": one, "since": wording.since(one, zone), "status": wording.status(one)}
            for one in alerts[: wording.MOST_LISTED]
        ],
        more=max(0, len(alerts) - wording.MOST_LISTED),
        address=parcel.address,
        pictures=pictures,
        caution=wording.CAUTION,
    )
    message.add_alternative(html, subtype="html")
    half = list(message.iter_parts())[-1]
    for one in pictures:
        half.add_related(
            one.png,
            "image",
            "png",
            cid=f"<{one.cid}>",
            filename=f"{one.name}.png",
            disposition="inline",
        )
    return message


def _drawn(parcel: Parcel) -> list[_Picture]:
    """Draw what a message shows: the trend of what moved most, and the curve of the latest cycle."""
    drawn = []
    if parcel.trend:
        drawn.append(_Picture("trend", picture.described(parcel.trend), picture.draw(parcel.trend)))
    if parcel.curve:
        said, png = picture.described_curve(parcel.curve), picture.draw_curve(parcel.curve)
        drawn.append(_Picture("curve", said, png))
    return drawn


def _digest(parcel: Parcel) -> str:
    return hashlib.sha256(f"{parcel.route_id}:{parcel.notice_ids}".encode()).hexdigest()[:32]
