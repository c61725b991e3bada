"""Reading the reading profiles."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import func, select
from sqlalchemy.orm import Session, joinedload

from beadline.store.tables import Cycle, Packing, ReadingProfile


def newest_of_layout(session: Session, layout_sha256: str) -> ReadingProfile | None:
    """Return the newest version of the profile for a layout."""
    query = select(ReadingProfile).where(ReadingProfile.layout_sha256 == layout_sha256)
    return session.scalars(query.order_by(ReadingProfile.version.desc()).limit(1)).first()


def version(session: Session, version_id: int) -> ReadingProfile | None:
    """Return one version."""
    query = select(ReadingProfile).where(ReadingProfile.id == version_id)
    return session.scalars(query.options(joinedload(ReadingProfile.made_by))).first()


def newest_beside(session: Session, version_id: int) -> ReadingProfile | None:
    """Return the newest version of the profile that a version belongs to."""
    name = select(ReadingProfile.name).where(ReadingProfile.id == version_id).scalar_subquery()
    query = select(ReadingProfile).where(ReadingProfile.name == name)
    return session.scalars(query.order_by(ReadingProfile.version.desc()).limit(1)).first()


def newest_named(session: Session, name: str) -> ReadingProfile | None:
    """Return the newest version of a profile."""
    query = select(ReadingProfile).where(ReadingProfile.name == name)
    return session.scalars(query.order_by(ReadingProfile.version.desc()).limit(1)).first()


def versions(session: Session, name: str) -> Sequence[ReadingProfile]:
    """Return every version of a profile, the newest first."""
    query = select(ReadingProfile).where(ReadingProfile.name == name)
    loaded = query.options(joinedload(ReadingProfile.made_by))
    return session.scalars(loaded.order_by(ReadingProfile.version.desc())).all()


def names(session: Session) -> set[str]:
    """Return the names that are taken."""
    return set(session.scalars(select(ReadingProfile.name).distinct()))


def newest(session: Session) -> Sequence[ReadingProfile]:
    """Return the newest version of every profile, by name."""
    last = (
        select(ReadingProfile.name, func.max(ReadingProfile.version).label("version"))
        .group_by(ReadingProfile.name)
        .subquery()
    )
    query = select(ReadingProfile).join(
        last, (last.c.name == ReadingProfile.name) & (last.c.version == ReadingProfile.version)
    )
    return session.scalars(query.order_by(ReadingProfile.name)).all()


def runs_by_name(session: Session) -> dict[str, int]:
    """Return how many runs each profile has read, over all its versions, without those that were voided."""
    query = (
        select(ReadingProfile.name, func.count(Cycle.id))
        .join(Cycle, Cycle.reading_profile_id == ReadingProfile.id)
        .where(Cycle.voided_at.is_(None))
        .group_by(ReadingProfile.name)
    )
    return {row[0]: row[1] for row in session.execute(query)}


def runs_of(session: Session, name: str, *, most: int) -> Sequence[Cycle]:
    """Return the newest runs that any version of a profile has read, with bed, trace and version."""
    query = (
        select(Cycle)
        .join(ReadingProfile, Cycle.reading_profile_id == ReadingProfile.id)
        .where(ReadingProfile.name == name, Cycle.voided_at.is_(None))
        .options(
            joinedload(Cycle.packing).joinedload(Packing.column),
            joinedload(Cycle.trace),
            joinedload(Cycle.reading_profile),
        )
    )
    return session.scalars(query.order_by(Cycle.logged_at.desc(), Cycle.id.desc()).limit(most)).all()
