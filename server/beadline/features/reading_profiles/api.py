"""Reading profiles, for programs."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Depends
from pydantic import BaseModel, ConfigDict, Field

from beadline.boundary.deps import Now, Person, ReadSession, Viewer, WriteSession, allowed
from beadline.features.reading_profiles import service as reading_profiles
from beadline.kit.errors import Invalid
from beadline.reading import Profile, UnreadableFile, problems
from beadline.store.tables import ReadingProfile

router = APIRouter(prefix="/api/v1/reading-profiles", tags=["library"])
Keeper = Annotated[Person, Depends(allowed("change library"))]


class ProfileLine(BaseModel):
    """A reading profile by its newest version, and how many runs its versions have read."""

    id: int
    name: str
    version: int
    runs: int
    made_at: datetime


class ProfileVersion(BaseModel):
    """One version of a reading profile, whole; `definition` names columns, axis, units and marks."""

    id: int
    name: str
    version: int
    newest: bool
    why: str
    made_at: datetime
    made_by: str
    definition: dict[str, Any]


class Change(BaseModel):
    """The next version of a profile."""

    model_config = ConfigDict(extra="forbid")

    definition: dict[str, Any] = Field(description="As the newest version gives it, with what is to change.")
    why: str = Field(description="Needed; it stays in the record.")
    name: str = Field("", max_length=80, description="Another name; empty to keep the present one.")


@router.get("")
def list_profiles(session: ReadSession, viewer: Viewer) -> list[ProfileLine]:
    """List the reading profiles, by name."""
    names = ProfileLine.model_fields
    return [
        ProfileLine(**{name: getattr(one, name) for name in names}) for one in reading_profiles.every(session)
    ]


@router.get("/{version_id}")
def one_version(session: ReadSession, viewer: Viewer, version_id: int) -> ProfileVersion:
    """Give one version of a profile."""
    row = reading_profiles.get(session, version_id)
    newest = reading_profiles.versions(session, row.name)[0]
    return _told(row, newest=newest.id == row.id)


@router.get("/{version_id}/versions")
def every_version(session: ReadSession, viewer: Viewer, version_id: int) -> list[ProfileVersion]:
    """List every version of the profile that a version belongs to, the newest first."""
    found = reading_profiles.versions(session, reading_profiles.get(session, version_id).name)
    return [_told(row, newest=place == 0) for place, row in enumerate(found)]


@router.post("/{version_id}/next", status_code=201)
def change(session: WriteSession, keeper: Keeper, now: Now, version_id: int, said: Change) -> ProfileVersion:
    """Record the version that follows this one, which must be the newest; runs keep theirs."""
    name = said.name or reading_profiles.get(session, version_id).name
    made = reading_profiles.change(
        session, version_id, _read(said.definition), name=name, why=said.why, by=keeper.user, at=now
    )
    return _told(reading_profiles.get(session, made.id), newest=True)


def _read(definition: dict[str, Any]) -> Profile:
    try:
        profile = Profile.from_dict(definition)
    except UnreadableFile as error:
        raise Invalid(error.what, where="definition", mend=error.mend, code=error.code) from error
    for (index, field), said in problems(profile).items():
        mend = "Compare it with the present version."
        raise Invalid(said, where=f"definition.columns[{index}].{field}", mend=mend)
    return profile


def _told(row: ReadingProfile, *, newest: bool) -> ProfileVersion:
    return ProfileVersion(
        id=row.id,
        name=row.name,
        version=row.version,
        newest=newest,
        why=row.why,
        made_at=row.made_at,
        made_by=row.made_by.name,
        definition=row.definition,
    )
