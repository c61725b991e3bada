"""People who sign in, and what proves it."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, Index, String
from sqlalchemy.orm import Mapped, mapped_column

from beadline.store.base import Base


class User(Base):
    """A named person; never deleted, since records name them.

    `provider_name` is how the identity provider calls somebody who may sign on through it; the first sign-on
    binds the account to the provider's own, lasting mark of that person: issuer and subject.
    """

    __tablename__ = "users"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(64), unique=True)
    full_name: Mapped[str] = mapped_column(String(120))
    role: Mapped[str] = mapped_column(String(16))
    password_hash: Mapped[str] = mapped_column(String(200))
    password_is_temporary: Mapped[bool] = mapped_column(default=False)
    active: Mapped[bool] = mapped_column(default=True)
    created_at: Mapped[datetime]
    failed_sign_ins: Mapped[int] = mapped_column(default=0)
    locked_until: Mapped[datetime | None]
    provider_name: Mapped[str | None] = mapped_column(String(200), unique=True, index=True)
    provider_issuer: Mapped[str | None] = mapped_column(String(500))
    provider_subject: Mapped[str | None] = mapped_column(String(255))

    __table_args__ = (
        Index(
            "ix_users_provider_issuer_provider_subject", "provider_issuer", "provider_subject", unique=True
        ),
        CheckConstraint(
            "(provider_issuer is null) = (provider_subject is null)"
            " and (provider_subject is null or provider_name is not null)",
            name="bound_whole",
        ),
        CheckConstraint(
            "role in ('viewer', 'operator', 'engineer', 'quality', 'administrator')", name="known_role"
        ),
    )
