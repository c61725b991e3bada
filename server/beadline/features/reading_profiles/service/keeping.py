"""Keep how files are read: found by a file's header, made with the first file, versioned when corrected."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.reading_profiles import queries
from beadline.features.reading_profiles.schemas import Known, Saved
from beadline.features.records import service as records
from beadline.kit.errors import NotFound
from beadline.reading import Profile
from beadline.store.tables import Cycle, ReadingProfile, User

_LONGEST = 60  # letters of a name that is not a person's
_KINDS = {"text": "Text", "workbook": "Workbook", "long": "Long list", "andi": "netCDF", "animl": "AnIML"}
_MARKS = {"\t": "tabs", ";": "semicolons", ",": "commas", "|": "bars", "spaces": "blanks"}


def for_layout(session: Session, layout_sha256: str) -> Saved | None:
    """Return the profile that reads files of this layout, or None if none is known."""
    found = queries.newest_of_layout(session, layout_sha256)
    return _saved(found) if found else None


def newest_version(session: Session, version_id: int | None) -> Saved | None:
    """Return the newest version of the profile that a version belongs to."""
    newest = queries.newest_beside(session, version_id) if version_id is not None else None
    return _saved(newest) if newest else None


def keep(session: Session, read_by: Profile, *, why: str, by: User, at: datetime) -> ReadingProfile:
    """Return the version that reads as this profile does; one that is not known yet is recorded.

    A profile of a layout that is known becomes the next version of that layout's profile.
    """
    profile = read_by.of_the_layout()
    known = queries.newest_of_layout(session, profile.layout_sha256)
    if known is not None and Profile.from_dict(known.definition) == _with_flow_of(profile, known):
        return known
    name = known.name if known else _free_name(profile, queries.names(session))
    return add_version(session, name, profile, why=why, by=by, at=at)


def get(session: Session, version_id: int) -> ReadingProfile:
    """Return a version of a profile.

    Raises
    ------
    NotFound
        If there is none.
    """
    found = queries.version(session, version_id)
    if found is None:
        raise NotFound(f"There is no reading profile {version_id}.", mend="Open the Library.")
    return found


def versions(session: Session, name: str) -> Sequence[ReadingProfile]:
    """Return every version of a profile, the newest first."""
    return queries.versions(session, name)


def every(session: Session) -> tuple[Known, ...]:
    """Return every profile with how many runs it has read."""
    runs = queries.runs_by_name(session)
    return tuple(
        Known(
            id=one.id,
            name=one.name,
            version=one.version,
            profile=Profile.from_dict(one.definition),
            runs=runs.get(one.name, 0),
            made_at=one.made_at,
        )
        for one in queries.newest(session)
    )


def runs(session: Session, name: str, *, most: int = 10) -> Sequence[Cycle]:
    """Return the newest runs that any version of a profile has read."""
    return queries.runs_of(session, name, most=most)


def in_short(profile: Profile) -> str:
    """Say the kind of a file in a few words."""
    kind = _KINDS[profile.kind]
    if profile.kind != "text":
        return kind
    mark = "comma" if profile.decimal == "," else "point"
    return f"{kind}, {_MARKS.get(profile.delimiter, profile.delimiter)}, decimal {mark}"


def taken(profile: Profile) -> str:
    """Say what is taken from files of a profile."""
    used = [one.quantity or one.use for one in profile.columns if one.use in ("signal", "mark")]
    return ", ".join(name for name in dict.fromkeys(used) if name != "other")


def _saved(row: ReadingProfile) -> Saved:
    return Saved(row.id, row.name, row.version, Profile.from_dict(row.definition))


def _with_flow_of(profile: Profile, known: ReadingProfile) -> Profile:
    """Return the profile with the constant flow that a person gave the known one, which no file changes."""
    plain = profile.to_dict() | {"flow_m3_s": known.definition.get("flow_m3_s")}
    return Profile.from_dict(plain)


def _free_name(profile: Profile, taken_names: set[str]) -> str:
    """Return a name for a new profile: its kind and its first columns."""
    headers = ", ".join(dict.fromkeys(plan.header for plan in profile.columns if plan.header))
    marks = f", {_MARKS[profile.delimiter]}" if profile.kind == "text" else ""
    name = f"{_KINDS[profile.kind]}{marks}: {headers}"
    name = name if len(name) <= _LONGEST else f"{name[: _LONGEST - 1].rstrip(' ,')}…"
    free = (name, *(f"{name} ({count})" for count in range(2, len(taken_names) + 3)))
    return next(one for one in free if one not in taken_names)


def add_version(
    session: Session, name: str, profile: Profile, *, why: str, by: User, at: datetime
) -> ReadingProfile:
    """Record the next version of a profile, or the first one of a new name."""
    newest = queries.newest_named(session, name)
    row = ReadingProfile(
        name=name,
        version=newest.version + 1 if newest else 1,
        layout_sha256=profile.layout_sha256,
        definition=profile.to_dict(),
        why=why,
        made_at=at,
        made_by_id=by.id,
    )
    session.add(row)
    session.flush()  # the record and the run need its id
    said = f"Recorded reading profile {name}, version {row.version}: {why}"
    records.write(
        session,
        by=by,
        at=at,
        did="make",
        thing="reading profile",
        thing_id=row.id,
        said=said,
        after=row.definition,
    )
    return row
