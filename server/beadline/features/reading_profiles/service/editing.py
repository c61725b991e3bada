"""Change a reading profile: what a person writes becomes its next version."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.reading_profiles import queries
from beadline.features.reading_profiles.service import keeping
from beadline.features.records import service as records
from beadline.kit import forms
from beadline.kit.errors import Conflict, Invalid
from beadline.reading import Profile, UnreadableFile
from beadline.store.tables import ReadingProfile, User

LONGEST_NAME = 80
_FIELDS = ("use", "quantity", "unit", "role")


def edited(profile: Profile, given: Mapping[str, str]) -> Profile:
    """Return a profile with what a form says of its columns, axis, decimal mark, sheet, flow and start.

    Raises
    ------
    Invalid
        If a number can't be read, or no file could be read by it.
    """
    plain = profile.to_dict()
    for column in plain["columns"]:
        for field in _FIELDS:
            column[field] = given.get(f"column_{column['index']}_{field}", column[field] or "").strip()
        if column["use"] != "signal":
            column |= {"quantity": "", "role": ""}
    for field in ("axis", "decimal", "start"):
        plain[field] = given.get(field, plain[field])
    plain["sheet"] = given.get("sheet", plain["sheet"]).strip()
    if "flow_l_h" in given:
        flow = forms.number(given["flow_l_h"], where="flow_l_h")
        if flow is not None and flow <= 0:
            raise Invalid("A flow is above 0.", where="flow_l_h", mend="Or leave it empty.")
        plain["flow_m3_s"] = None if flow is None else flow / 3.6e6
    try:
        return Profile.from_dict(plain)
    except UnreadableFile as error:
        raise Invalid(error.what, where="name", mend=error.mend, code=error.code) from error


def change(
    session: Session, version_id: int, profile: Profile, *, name: str, why: str, by: User, at: datetime
) -> ReadingProfile:
    """Record the next version of a profile, and give it another name if one is written.

    Raises
    ------
    NotFound
        If there is no such profile.
    Invalid
        If no reason or no name is given.
    Conflict
        If the name is another profile's, somebody changed the profile meanwhile, or nothing would change.
    """
    present = _newest(session, version_id)
    name, why = name.strip(), why.strip()
    if not name or len(name) > LONGEST_NAME:
        raise Invalid("A profile needs a name.", where="name", mend=f"Write up to {LONGEST_NAME} letters.")
    if not why:
        raise Invalid("A change needs a reason.", where="why", mend="Say what was wrong or is new.")
    if name != present.name and queries.newest_named(session, name) is not None:
        raise Conflict(f"“{name}” is another profile.", where="name", mend="Choose another name.")
    if profile == Profile.from_dict(present.definition) and name == present.name:
        raise Conflict("Nothing was changed.", where="name", mend="Change a column, or leave the page.")
    if name != present.name:
        _rename(session, present.name, name, by=by, at=at)
    return keeping.add_version(session, name, profile, why=why, by=by, at=at)


def _newest(session: Session, version_id: int) -> ReadingProfile:
    """Return a version if it is the newest of its profile.

    Raises
    ------
    NotFound
        If there is no such profile.
    Conflict
        If it has a newer version.
    """
    present = keeping.get(session, version_id)
    newest = queries.newest_named(session, present.name)
    if newest is None or newest.id != present.id:
        raise Conflict(
            f"“{present.name}” has a newer version than {present.version}.",
            where="name",
            mend="Open the newest version and change that.",
        )
    return present


def _rename(session: Session, old: str, new: str, *, by: User, at: datetime) -> None:
    for row in queries.versions(session, old):
        row.name = new
    session.flush()  # the next version is added under the new name
    said = f"Renamed reading profile {old} to {new}"
    records.write(session, by=by, at=at, did="rename", thing="reading profile", thing_id=None, said=said)
