"""The page of a reading profile: its columns, what it reads, its versions and its runs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Depends, File, Request, Response, UploadFile
from fastapi.responses import RedirectResponse

from beadline.boundary import templates
from beadline.boundary.deps import (
    Now,
    OurForm,
    Person,
    Posted,
    ReadSession,
    Session,
    Viewer,
    WriteSession,
    allowed,
)
from beadline.features.reading_profiles import service as reading_profiles
from beadline.features.reading_profiles.schemas import Tried
from beadline.kit.errors import Invalid, Refusal
from beadline.reading import Profile, problems
from beadline.reading.clocks import FORMS
from beadline.reading.profile import QUANTITIES, USES
from beadline.store.tables import ReadingProfile

router = APIRouter(prefix="/library/reading-profiles", include_in_schema=False)
Keeper = Annotated[Person, Depends(allowed("change library"))]
SIDES = (
    ("", "not said"),
    ("pre", "before the column"),
    ("post", "behind the column"),
    ("delta", "difference"),
)
UNITS = (
    "mL",
    "L",
    "CV",
    "s",
    "min",
    "h",
    "mS/cm",
    "µS/cm",
    "S/m",
    "mAU",
    "AU",
    "pH",
    "bar",
    "kPa",
    "L/h",
    "mL/min",
    "cm/h",
    "°C",
)


@router.get("/{version_id}")
def show(request: Request, session: ReadSession, viewer: Viewer, version_id: int) -> Response:
    """Show a version of a profile and what it makes of the newest file."""
    row = reading_profiles.get(session, version_id)
    return _page(request, session, viewer, row, Profile.from_dict(row.definition), {})


@router.post("/{version_id}/try", dependencies=[OurForm])
def try_out(
    request: Request,
    session: ReadSession,
    keeper: Keeper,
    version_id: int,
    posted: Posted,
    file: Annotated[UploadFile | None, File()] = None,
) -> Response:
    """Show what a changed profile would make of a file: a part of the page, or without script the page."""
    row = reading_profiles.get(session, version_id)
    content = file.file.read() if file is not None else b""
    upload = (content, file.filename or "file") if file is not None and content else None
    present = Profile.from_dict(row.definition)
    try:
        profile = reading_profiles.edited(present, posted)
    except Refusal as refusal:
        return _page(request, session, keeper, row, present, posted, refusal=refusal)
    if posted.get("part") == "yes":
        context = _preview(session, row, profile, upload)
        return templates.render(request, "reading_profiles/preview.html", context)
    return _page(request, session, keeper, row, profile, posted, upload=upload)


@router.post("/{version_id}", dependencies=[OurForm])
def change(
    request: Request, session: WriteSession, keeper: Keeper, now: Now, version_id: int, posted: Posted
) -> Response:
    """Save the next version."""
    row = reading_profiles.get(session, version_id)
    profile = Profile.from_dict(row.definition)
    try:
        profile = reading_profiles.edited(profile, posted)
        with session.begin_nested():
            saved = reading_profiles.change(
                session,
                version_id,
                _sound(profile),
                name=posted.get("name", ""),
                why=posted.get("why", ""),
                by=keeper.user,
                at=now,
            )
    except Refusal as refusal:
        return _page(request, session, keeper, row, profile, posted, refusal=refusal)
    return RedirectResponse(f"/library/reading-profiles/{saved.id}", status_code=303)


def _sound(profile: Profile) -> Profile:
    """Refuse a profile with a column that can't be read as it says; the page names each beside its field."""
    wrong = problems(profile)
    if wrong:
        (index, _), said = next(iter(wrong.items()))
        header = next((plan.header for plan in profile.columns if plan.index == index), "")
        raise Invalid(
            f"“{header}”: {said}" if header else said, where="columns", mend="Correct what is marked below."
        )
    return profile


def _page(
    request: Request,
    session: Session,
    person: Person,
    row: ReadingProfile,
    profile: Profile,
    given: Mapping[str, str],
    *,
    upload: tuple[bytes, str] | None = None,
    refusal: Refusal | None = None,
) -> Response:
    versions = reading_profiles.versions(session, row.name)
    context = {
        "row": row,
        "versions": versions,
        "newest": versions[0],
        "runs": reading_profiles.runs(session, row.name),
        "profile": profile,
        "in_short": reading_profiles.in_short(profile),
        "given": defaultdict(str, given),
        "refusal": refusal,
        "wrong": _wrong(profile) if given else defaultdict(str),
        "choices": {"uses": USES, "quantities": QUANTITIES, "sides": SIDES, "units": (*UNITS, *FORMS)},
        "may_change": "change library" in person.deeds and versions[0].id == row.id,
        **_preview(session, row, profile, upload),
    }
    status = refusal.status if refusal else 200
    return templates.render(request, "reading_profiles/profile.html", context, status=status)


def _wrong(profile: Profile) -> defaultdict[str, str]:
    """Return what is wrong with each field, by its name in the template; nothing for all others."""
    return defaultdict(str, {f"{index}_{field}": said for (index, field), said in problems(profile).items()})


def _preview(
    session: Session, row: ReadingProfile, profile: Profile, upload: tuple[bytes, str] | None
) -> dict[str, Any]:
    """Return what the profile makes of a file, or why it does not read it."""
    tried: Tried | None = None
    unread: Refusal | None = None
    try:
        _sound(profile)
        if upload is not None:
            tried = reading_profiles.tried(upload[0], filename=upload[1], profile=profile)
        else:
            tried = reading_profiles.tried_on_newest(session, row.name, profile)
    except Refusal as refusal:
        unread = refusal
    return {"tried": tried, "unread": unread}
