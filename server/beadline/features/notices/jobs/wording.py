"""A message in plain text: for e-mail beside the HTML, and for chats."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from beadline.features.notices.schemas import Item, Parcel
from beadline.kit import words

CAUTION = (
    "Beadline supports decisions; it makes none. Candidate causes are no diagnosis. Open, repack or "
    "pressurise a column only by site procedure and by qualified people, and let those who are authorised "
    "decide about the release of product."
)
TEST = "This is a test of the route “{name}”. Nothing is wrong; nothing needs to be done."
MOST_LISTED = 40


def subject_of(parcel: Parcel) -> str:
    """Return the subject: what happened to which bed, or how many alerts there are."""
    demo = "[Demo, invented data] " if parcel.demo else ""
    alerts = parcel.alerts
    if parcel.is_test:
        return f"{demo}Test of the notice route {parcel.route_name}"
    if len(alerts) > 1:
        grave = sum(item.level == "action" for item in alerts)
        return f"{demo}{len(alerts)} alerts, {grave} past the action limit"
    (item,) = alerts
    lead = "Not acknowledged" if item.event == "escalated" else f"Past {item.level} limit"
    return f"{demo}{lead}: {item.bed}"


def text_of(parcel: Parcel) -> str:
    """Return the whole message in plain text."""
    if parcel.is_test:
        return f"{TEST.format(name=parcel.route_name)}\n\n{parcel.address}/library/notices\n"
    alerts = parcel.alerts
    zone = ZoneInfo(parcel.zone)
    if len(alerts) == 1:
        said = _whole(alerts[0], zone)
    else:
        said = [line for item in alerts[:MOST_LISTED] for line in _short(item, zone)]
        if len(alerts) > MOST_LISTED:
            said.append(f"And {len(alerts) - MOST_LISTED} more: {parcel.address}/alerts")
    return "\n".join([*said, "", CAUTION, ""])


def _whole(item: Item, zone: ZoneInfo) -> list[str]:
    lines = [item.bed, item.headline, "", item.happened, item.sentence, "", since(item, zone), status(item)]
    lines += ["", "What moved most:", *(f"- {line}" for line in item.evidence)]
    if item.causes:
        lines += ["", "What it may be, and the check that tells:"]
        lines += [f"- {name}. {check}" for name, check in item.causes]
    if item.status == "raised":
        lines += ["", "Acknowledge it (you will be asked to sign in):", item.answer]
    return [*lines, "", "Look at it:", item.link]


def _short(item: Item, zone: ZoneInfo) -> list[str]:
    return [f"{item.bed} (past {item.level} limit)", item.headline, status(item), item.link, ""]


def since(item: Item, zone: ZoneInfo) -> str:
    """Say when it was raised, and with which cycle it began."""
    return (
        f"Raised {words.moment(item.raised_at, zone)} {zone.key}; it began about cycle {item.since_cycle} "
        f"(between {item.since_low} and {item.since_high}); the latest is cycle {item.latest_cycle}."
    )


def status(item: Item) -> str:
    """Say whether somebody has it."""
    return "Nobody has acknowledged it." if item.status == "raised" else f"It is {item.status}."
